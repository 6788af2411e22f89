/** x right, y up, z away from the camera, mm; the anchor's plane of focus is z = 0 and its axis x = y = 0. */
export type Point = readonly [number, number, number];

/** A thing of a ray-traced scene: geometry without texture, and the texture it wears in the photographs. */
export interface Thing {
  geometry: string;
  texture: string;
  /** Hairs, needles and the like: they have columns of their own in the table. */
  thin?: boolean;
}

export interface RaytracedScene {
  things: Thing[];
  /** Light sources. */
  lights: string;
}

export function vector(p: Point): string {
  return `<${p.map((value) => value.toFixed(6)).join(',')}>`;
}

/** A hair: cones joined by spheres through the points, radius in mm at each. */
export function cones(points: readonly Point[], radii: readonly number[]): string {
  const parts = points.map((p, i) => `sphere{${vector(p)},${radii[i].toFixed(6)}}`);
  for (let i = 1; i < points.length; i++) {
    const [from, to] = [points[i - 1], points[i]];
    parts.push(`cone{${vector(from)},${radii[i - 1].toFixed(6)},${vector(to)},${radii[i].toFixed(6)} open}`);
  }
  return `union{${parts.join('')}}`;
}

/** A matt texture of fine grain between two linear colours; grain in mm. */
export function grain(dark: Point, light: Point, grainMm: number, seed: number): string {
  return (
    `texture{pigment{granite scale ${grainMm.toFixed(5)} translate ${(seed * 1.37).toFixed(3)} ` +
    `color_map{[0.25 rgb${vector(dark)}][0.55 rgb${vector(light)}]}}finish{ambient 0.12 diffuse 0.75}}`
  );
}

/** A matt texture of one linear colour. */
export function plain(colour: Point): string {
  return `texture{pigment{rgb${vector(colour)}}finish{ambient 0.2 diffuse 0.7}}`;
}

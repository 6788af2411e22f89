/** A solid under a surface. */
export interface Solid {
  points: Float32Array;
  triangles: Uint32Array;
}

/**
 * Closes a surface that covers a rectangle: walls from its rim down to a base. Every edge then has two triangles, one in
 * either direction.
 *
 * @param points (vertices, 3) of the surface.
 * @param triangles (triangles, 3), counterclockwise from above.
 * @param below The point of the base below a vertex; all of them lie in one plane and bound a convex shape.
 */
export function closeSolid(
  points: Float32Array,
  triangles: Uint32Array,
  below: (vertex: number) => readonly [number, number, number],
): Solid {
  const rim = rimEdges(triangles, points.length / 3);
  const baseOf = new Map<number, number>();
  const base: number[] = [];
  const baseVertex = (vertex: number): number => {
    const known = baseOf.get(vertex);
    if (known !== undefined) return known;
    const added = (points.length + base.length) / 3;
    base.push(...below(vertex));
    baseOf.set(vertex, added);
    return added;
  };
  const added: number[] = [];
  for (const [from, to] of rim) {
    const [baseFrom, baseTo] = [baseVertex(from), baseVertex(to)];
    added.push(to, from, baseFrom, to, baseFrom, baseTo);
  }
  const centre = (points.length + base.length) / 3;
  const mean = [0, 1, 2].map((k) => {
    let sum = 0;
    for (let i = k; i < base.length; i += 3) sum += base[i];
    return sum / (base.length / 3);
  });
  base.push(...mean);
  for (const [from, to] of rim) added.push(baseOf.get(to)!, baseOf.get(from)!, centre);
  return joined(points, base, triangles, added);
}

function joined(points: Float32Array, base: number[], triangles: Uint32Array, added: number[]): Solid {
  const allPoints = new Float32Array(points.length + base.length);
  allPoints.set(points);
  allPoints.set(base, points.length);
  const allTriangles = new Uint32Array(triangles.length + added.length);
  allTriangles.set(triangles);
  allTriangles.set(added, triangles.length);
  return { points: allPoints, triangles: allTriangles };
}

/** Edges that have a triangle on one side only, in its direction. */
function rimEdges(triangles: Uint32Array, vertices: number): [from: number, to: number][] {
  const open = new Map<number, [number, number]>();
  for (let t = 0; t < triangles.length; t += 3) {
    for (let k = 0; k < 3; k++) {
      const [from, to] = [triangles[t + k], triangles[t + ((k + 1) % 3)]];
      if (!open.delete(to * vertices + from)) open.set(from * vertices + to, [from, to]);
    }
  }
  return [...open.values()];
}

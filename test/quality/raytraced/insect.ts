import { createRandom, type Random } from '../../../samples/random.js';
import { cones, grain, type Point, plain, type RaytracedScene, type Thing, vector } from './scene-text.js';

interface Ball {
  centre: Point;
  radii: Point;
}

/**
 * The front of an insect of our own making, some 0.9 mm deep and as wide: a grained head, two eyes of facets, jaws,
 * feelers, and hairs that are dark, light, or hardly different from the skin they stand on, 0.7 to 3 px thick.
 *
 * @param pixelMm Width of a pixel at the subject.
 */
export function insect(seed: number, pixelMm: number, hairs: number): RaytracedScene {
  const random = createRandom(seed, 'ray-traced insect');
  const head: Ball = {
    centre: [random.between(-0.03, 0.03), 0.0, 0.335],
    radii: [random.between(0.34, 0.4), random.between(0.3, 0.34), random.between(0.38, 0.45)],
  };
  const things: Thing[] = [
    {
      geometry: 'plane{-z,-2.2}',
      texture: `texture{pigment{gradient y scale 3 translate -1.4*y color_map{[0 rgb<${random.between(0.1, 0.3)},0.3,0.22>][1 rgb<0.5,0.52,${random.between(0.4, 0.7)}>]}}finish{ambient 0.5 diffuse 0.4}}`,
    },
    {
      geometry: ball(head),
      texture: grain([0.035, 0.02, 0.012], [random.between(0.2, 0.34), 0.15, 0.08], 0.05, seed),
    },
  ];
  for (const side of [-1, 1])
    things.push(...eye(random, head, side), ...jaw(random, side), feeler(random, side));
  for (let i = 0; i < hairs; i++) things.push(hair(random, head, pixelMm, i));
  return {
    things,
    lights:
      'light_source{<-40,60,-70> rgb<1.0,0.97,0.92>}light_source{<55,20,-60> rgb<0.5,0.53,0.6> shadowless}',
  };
}

function ball({ centre, radii }: Ball): string {
  return `sphere{0,1 scale ${vector(radii)} translate ${vector(centre)}}`;
}

/** A sphere set with facets, each with a shade of its own. */
function eye(random: Random, head: Ball, side: number): Thing[] {
  const centre: Point = [head.centre[0] + side * 0.78 * head.radii[0], 0.07, 0.145];
  const radius = random.between(0.15, 0.18);
  const count = 700;
  const parts: Thing[] = [
    { geometry: `sphere{${vector(centre)},${radius}}`, texture: plain([0.02, 0.012, 0.012]) },
  ];
  const shades = 6;
  const groups: string[][] = Array.from({ length: shades }, () => []);
  for (let i = 0; i < count; i++) {
    // Points of equal area on a sphere along a golden spiral.
    const z = 1 - (2 * i + 1) / count;
    const angle = i * Math.PI * (3 - Math.sqrt(5));
    const r = Math.sqrt(1 - z * z);
    const p: Point = [
      centre[0] + radius * r * Math.cos(angle),
      centre[1] + radius * r * Math.sin(angle),
      centre[2] - radius * z,
    ];
    groups[Math.floor(random.unit() * shades)].push(`sphere{${vector(p)},${(radius * 0.062).toFixed(6)}}`);
  }
  groups.forEach((spheres, shade) => {
    const strength = 0.6 + 0.2 * shade;
    if (spheres.length === 0) return;
    parts.push({
      geometry: `union{${spheres.join('')}}`,
      texture: `texture{pigment{rgb<${0.22 * strength},${0.05 * strength},${0.04 * strength}>}finish{ambient 0.15 diffuse 0.7 specular 0.35 roughness 0.02}}`,
    });
  });
  return parts;
}

function jaw(random: Random, side: number): Thing[] {
  const points: Point[] = [];
  const radii: number[] = [];
  for (let i = 0; i <= 10; i++) {
    const t = i / 10;
    points.push([
      side * (0.12 + 0.1 * Math.sin(Math.PI * t) - 0.1 * t),
      -0.27 - 0.1 * t,
      0.105 - 0.3 * t + random.between(-0.002, 0.002),
    ]);
    radii.push(0.045 * (1 - t) + 0.004);
  }
  return [
    { geometry: cones(points, radii), texture: grain([0.05, 0.025, 0.01], [0.35, 0.2, 0.08], 0.03, 3) },
  ];
}

function feeler(random: Random, side: number): Thing {
  const points: Point[] = [];
  const radii: number[] = [];
  const bend = random.between(0.1, 0.25);
  for (let i = 0; i <= 24; i++) {
    const t = i / 24;
    points.push([
      side * (0.09 + 0.3 * t + bend * t * t),
      0.17 + 0.25 * t - bend * t * t,
      0.025 - 0.42 * Math.sin(1.4 * t),
    ]);
    radii.push(0.02 * (1 - 0.6 * t) * (i % 2 === 0 ? 1 : 0.86));
  }
  return { geometry: cones(points, radii), texture: grain([0.06, 0.03, 0.015], [0.4, 0.27, 0.14], 0.025, 5) };
}

/** A bent hair that tapers, rooted on the side of the head that faces the camera. */
function hair(random: Random, { centre, radii }: Ball, pixelMm: number, index: number): Thing {
  const azimuth = random.between(0, 2 * Math.PI);
  const height = random.between(0.12, 1);
  const r = Math.sqrt(1 - height * height);
  const normal: Point = [r * Math.cos(azimuth), r * Math.sin(azimuth), -height];
  const length = random.between(0.1, 0.42);
  const lean = [random.between(-0.7, 0.7), random.between(-0.7, 0.7), random.between(-0.5, 0.5)];
  const rootRadius = (random.between(0.7, 3) / 2) * pixelMm;
  const points: Point[] = [];
  const widths: number[] = [];
  for (let i = 0; i <= 9; i++) {
    const t = i / 9;
    const along = length * t;
    points.push([
      centre[0] + radii[0] * normal[0] * 0.99 + along * (normal[0] + lean[0] * t),
      centre[1] + radii[1] * normal[1] * 0.99 + along * (normal[1] + lean[1] * t),
      centre[2] + radii[2] * normal[2] * 0.99 + along * (normal[2] * 0.7 + lean[2] * t),
    ]);
    widths.push(rootRadius * (1 - 0.6 * t));
  }
  const colours: Point[] = [
    [0.015, 0.01, 0.008],
    [0.75, 0.7, 0.6],
    [0.2, 0.13, 0.07],
    [0.35, 0.2, 0.09],
  ];
  return { geometry: cones(points, widths), texture: plain(colours[index % colours.length]), thin: true };
}

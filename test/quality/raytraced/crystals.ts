import { createRandom, type Random } from '../../../samples/random.js';
import { cones, grain, type Point, plain, type RaytracedScene, type Thing, vector } from './scene-text.js';

/**
 * A druse of our own making: six-sided prisms with pyramids on top that lean every way before grained rock, with edges
 * as sharp as a knife, and needles between them.
 *
 * @param pixelMm Width of a pixel at the subject.
 */
export function crystals(seed: number, pixelMm: number, prisms: number): RaytracedScene {
  const random = createRandom(seed, 'ray-traced crystals');
  const things: Thing[] = [
    { geometry: 'plane{-z,-0.42}', texture: grain([0.05, 0.06, 0.07], [0.3, 0.27, 0.22], 0.06, seed) },
  ];
  for (let i = 0; i < prisms; i++) things.push(prism(random, i));
  for (let i = 0; i < 40; i++) things.push(needle(random, pixelMm, i));
  return {
    things,
    lights:
      'light_source{<-50,50,-60> rgb<1,0.98,0.95>}light_source{<60,-10,-50> rgb<0.45,0.48,0.55> shadowless}',
  };
}

function prism(random: Random, index: number): Thing {
  const radius = random.between(0.03, 0.11);
  const length = random.between(0.2, 0.7);
  const tip = radius * random.between(1.1, 1.8);
  const corners = Array.from({ length: 7 }, (_, i): string => {
    const angle = (i * Math.PI) / 3;
    return `<${(radius * Math.cos(angle)).toFixed(6)},${(radius * Math.sin(angle)).toFixed(6)}>`;
  });
  // A prism along y, its tip a hexagonal cone: conic_sweep ends in a point at its origin.
  const body = `prism{linear_sweep linear_spline 0,${length.toFixed(6)},7,${corners.join(',')}}`;
  const top = `prism{conic_sweep linear_spline 0,1,7,${corners.join(',')} scale <1,${tip.toFixed(6)},1> rotate 180*x translate ${(length + tip).toFixed(6)}*y}`;
  const turn: Point = [-90 + random.between(-55, 55), random.between(-50, 50), random.between(0, 60)];
  const place: Point = [random.between(-0.55, 0.55), random.between(-0.42, 0.42), random.between(0.25, 0.5)];
  const tint: Point = [random.between(0.25, 0.6), random.between(0.2, 0.5), random.between(0.25, 0.65)];
  const dark: Point = [tint[0] * 0.35, tint[1] * 0.35, tint[2] * 0.35];
  return {
    geometry: `union{${body}${top} rotate ${vector([0, turn[2], 0])} rotate ${vector([turn[0], 0, 0])} rotate ${vector([0, 0, turn[1]])} translate ${vector(place)}}`,
    texture: grain(dark, tint, random.between(0.02, 0.06), index),
  };
}

function needle(random: Random, pixelMm: number, index: number): Thing {
  const from: Point = [random.between(-0.5, 0.5), random.between(-0.38, 0.38), random.between(0.1, 0.4)];
  const to: Point = [
    from[0] + random.between(-0.25, 0.25),
    from[1] + random.between(-0.25, 0.25),
    from[2] - random.between(0.15, 0.6),
  ];
  const radius = (random.between(0.8, 3.5) / 2) * pixelMm;
  const colour: Point = index % 2 === 0 ? [0.8, 0.78, 0.72] : [0.04, 0.05, 0.06];
  return { geometry: cones([from, to], [radius, radius * 0.7]), texture: plain(colour), thin: true };
}

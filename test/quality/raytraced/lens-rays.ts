import type { Optics } from '../../../samples/camera.js';

/** A ray of a pixel. */
export interface LensRay {
  /** Where it crosses the lens: from its middle, right and up, mm. */
  lensMm: Point;
  /** Where it meets the pixel: from its middle, right and down, -1/2 to 1/2. */
  pixel: Point;
}

/**
 * Points of the lens and of the pixel, spread evenly over both at once, the same for every pixel: a lens is the sum of its
 * pinholes. With chosen points a blurred hair is smooth; with as many random ones, or those of POV-Ray's own lens, it is
 * grained, and grain is detail that no lens shows. (Halton's points: J. H. Halton, On the efficiency of certain
 * quasi-random sequences of points, Numer. Math. 2, 1960; square to disc: P. Shirley & K. Chiu, A low distortion map
 * between disk and square, J. Graphics Tools 2(3), 1997.)
 *
 * Their mean is the middle of lens and pixel, and their second moment on the lens that of its disc, whose diameter is the focal length over
 * the f-number.
 */
export function lensRays({ focalLengthMm, fNumber, rays }: Optics & { rays: number }): LensRay[] {
  const radiusMm = focalLengthMm / fNumber / 2;
  const indices = Array.from({ length: rays }, (_, i) => i);
  const lens = centred(indices.map((i) => onDisc(radicalInverse(i, 2), radicalInverse(i, 3))));
  const pixels = centred(indices.map((i) => [radicalInverse(i, 5), radicalInverse(i, 7)]));
  const square = lens.reduce((sum, [x, y]) => sum + x * x + y * y, 0) / rays;
  // The mean square distance from the middle of a disc of radius 1 is 1/2.
  const scale = radiusMm * Math.sqrt(0.5 / square);
  return lens.map(([x, y], i) => ({ lensMm: [scale * x, scale * y], pixel: pixels[i] }));
}

type Point = readonly [number, number];

/** Points about their mean. */
function centred(points: readonly Point[]): Point[] {
  const [x, y] = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);
  return points.map((point) => [point[0] - x, point[1] - y]);
}

/** Digits of `n` in a base, mirrored at the point: 0 to 1. */
function radicalInverse(n: number, base: number): number {
  let [value, place] = [0, 1 / base];
  for (let rest = n; rest > 0; rest = Math.floor(rest / base)) {
    value += (rest % base) * place;
    place /= base;
  }
  return value;
}

/** A point of the unit square in the unit disc, by concentric squares. */
function onDisc(u: number, v: number): Point {
  const [a, b] = [2 * u - 1, 2 * v - 1];
  if (a === 0 && b === 0) return [0, 0];
  const isWide = Math.abs(a) > Math.abs(b);
  const radius = isWide ? a : b;
  const angle = isWide ? (Math.PI / 4) * (b / a) : Math.PI / 2 - (Math.PI / 4) * (a / b);
  return [radius * Math.cos(angle), radius * Math.sin(angle)];
}

import type { Quantity } from '../result/measures-file.js';
import type { MeasurePoint } from '../result/region-shape.js';
import { type DepthField, depthAt, type KnownDepth } from './depth-field.js';
import { type Metric, pickSigmaPx, pointAt, type SpacePoint } from './metric.js';
import { propagate, type Uncertain } from './propagate.js';
import { known, noDepth, noScale, unknown } from './quantities.js';

/** A point with its depth, where one is known. */
export interface PlacedPoint {
  x: number;
  y: number;
  depth: KnownDepth | undefined;
}

/** Points of a measure with the depths of a field. */
export function placePoints(field: DepthField, points: readonly MeasurePoint[]): PlacedPoint[] {
  return points.map(([x, y]) => ({ x, y, depth: depthAt(field, x, y) }));
}

/** Distance of two points in the picture, across, along the axis and in space. */
export function measureDistance(metric: Metric, points: readonly PlacedPoint[]): Quantity[] {
  const hasDepth = points.every(({ depth }) => depth);
  const inPicture = propagate(inputsOf(metric, points), (values) => {
    const [first, second] = [0, 1].map((i) => pixelOf(values, i));
    return Math.hypot(second[0] - first[0], second[1] - first[1]);
  });
  const across = overPoints(metric, points, ([first, second]) =>
    Math.hypot(second[0] - first[0], second[1] - first[1]),
  );
  return [
    known('distance in the picture', inPicture, 'px'),
    ...(metric.across === 'mm' ? [known('distance across', scaled(metric, across), 'mm')] : []),
    measureHeight(metric, points)[0],
    !hasDepth
      ? unknown('distance in space', 'mm', noDepth)
      : metric.isMetric
        ? known(
            'distance in space',
            scaled(
              metric,
              overPoints(metric, points, ([first, second]) => gap(first, second)),
            ),
            'mm',
          )
        : unknown('distance in space', 'mm', noScale),
  ];
}

/** How much farther from the camera the second point lies. */
export function measureHeight(metric: Metric, points: readonly PlacedPoint[]): Quantity[] {
  const name = 'height difference';
  if (!points.every(({ depth }) => depth)) return [unknown(name, metric.along, noDepth)];
  const found = overPoints(metric, points, ([first, second]) => second[2] - first[2]);
  return [known(name, scaled(metric, found), metric.along)];
}

/** The angle at the second of three points, in the picture and in space. */
export function measureAngle(metric: Metric, points: readonly PlacedPoint[]): Quantity[] {
  const inPicture = propagate(inputsOf(metric, points), (values) =>
    angleOf(points.map((_, i): SpacePoint => [...pixelOf(values, i), 0])),
  );
  const name = 'angle in space';
  const inSpace = !points.every(({ depth }) => depth)
    ? unknown(name, '°', noDepth)
    : metric.isMetric
      ? known(name, overPoints(metric, points, angleOf), '°')
      : unknown(name, '°', noScale);
  return [known('angle in the picture', inPicture, '°'), inSpace];
}

function gap(first: SpacePoint, second: SpacePoint): number {
  return Math.hypot(second[0] - first[0], second[1] - first[1], second[2] - first[2]);
}

/** Degrees from 0 to 180 between the legs from the second point to the others; by atan2, which is exact near 0 and 180 too. */
function angleOf([first, vertex, last]: readonly SpacePoint[]): number {
  const [a, b] = [first, last].map((end) => end.map((value, i) => value - vertex[i]));
  const cross = Math.hypot(a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]);
  const dot = a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  return (Math.atan2(cross, dot) * 180) / Math.PI;
}

/** A function of the points in space, uncertain by their pixels, their depths and the perspective. */
function overPoints(
  metric: Metric,
  points: readonly PlacedPoint[],
  compute: (points: readonly SpacePoint[]) => number,
): Uncertain {
  return propagate(inputsOf(metric, points), (values) => {
    const growth = values[3 * points.length];
    return compute(points.map((_, i) => pointAt(metric, ...pixelOf(values, i), values[3 * i + 2], growth)));
  });
}

/** x, y and depth of each point (0 where none is known), and the growth of pixels with depth. */
function inputsOf({ scale }: Metric, points: readonly PlacedPoint[]): Uncertain[] {
  return [
    ...points.flatMap(({ x, y, depth }) => [
      { value: x, sigma: pickSigmaPx },
      { value: y, sigma: pickSigmaPx },
      { value: depth?.depth ?? 0, sigma: depth?.sigma ?? 0 },
    ]),
    { value: scale.growth, sigma: scale.growthSigma },
  ];
}

function pixelOf(values: readonly number[], point: number): [number, number] {
  return [values[3 * point], values[3 * point + 1]];
}

/** With the uncertainty of the scale as it was given. */
function scaled({ relativeSigma }: Metric, { value, sigma }: Uncertain): Uncertain {
  return { value, sigma: Math.hypot(sigma, relativeSigma * value) };
}

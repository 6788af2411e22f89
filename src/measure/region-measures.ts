import type { Quantity, QuantityUnit } from '../result/measures-file.js';
import type { DepthField } from './depth-field.js';
import { leastSquares, solve } from './least-squares.js';
import { type Metric, pointAt, type SpacePoint, sideAt, squareOf } from './metric.js';
import type { Uncertain } from './propagate.js';
import { known, noDepth, noScale, unknown } from './quantities.js';

/**
 * Pixels whose depths err alike: those of the finest window of the focus measure, five by five. Common practice, no
 * source: depth is smoothed by more where little is seen.
 */
export const independentPx = 25;
/** Known part of a region below which nothing is said of its depth. */
const minKnown = 0.5;

/** A region of the picture: a depth field, and which of its pixels belong. */
export interface MeasuredRegion {
  field: DepthField;
  /** 1 where a pixel belongs, (height, width) of the field. */
  mask: Uint8Array;
}

export interface RegionOutcome {
  quantities: Quantity[];
  remarks: string[];
}

/** Surface over area across from which a slope is taken for the edge of something before something: 80 degrees. */
const maxSteepness = 1 / Math.cos((80 * Math.PI) / 180);

/** An odd number, so that those left out do not lie in columns. */
const maxSpherePoints = 199_999;

interface RegionDepth {
  /** Pixels that belong, and those whose depth is known. */
  pixels: number;
  known: number;
  mean: number;
  /** Mean square of the depths' standard uncertainties. */
  variance: number;
}

/** Area of a region across, and of its surface. */
export function measureArea(metric: Metric, region: MeasuredRegion): RegionOutcome {
  const depth = depthOf(region);
  const unit = squareOf(metric.across);
  const rim = rimPixels(region).length;
  // Each pixel of the rim is in or out by chance.
  const relativeRim = Math.sqrt(rim / 12) / depth.pixels;
  const { field, mask } = region;
  let across = 0;
  let surface = 0;
  let smooth = 0;
  let sloped = 0;
  let edges = 0;
  for (let i = 0; i < mask.length; i++) {
    if (!mask[i]) continue;
    const at = Number.isNaN(field.depth[i]) ? depth.mean : field.depth[i];
    const side = sideAt(metric, Number.isNaN(at) ? 0 : at);
    across += side * side;
    const steepness = [1, 2].map((reach) => slopeAt(metric, field, i, side, reach));
    if (steepness.some(Number.isNaN)) continue;
    if (steepness.some((value) => value > maxSteepness)) {
      edges++;
      continue;
    }
    surface += side * side * steepness[0];
    smooth += side * side * steepness[1];
    sloped += side * side;
  }
  const relative = Math.hypot(
    relativeRim,
    2 * metric.relativeSigma,
    2 * Math.abs(Number.isNaN(depth.mean) ? 0 : depth.mean) * metric.scale.growthSigma,
    2 * metric.scale.growth * Math.sqrt(depth.variance || 0),
  );
  const name = 'surface area';
  const share = depth.known / depth.pixels;
  return {
    quantities: [
      known('area in the picture', { value: depth.pixels, sigma: Math.sqrt(rim / 12) }, 'px²'),
      ...(unit === 'mm²' ? [known('area across', { value: across, sigma: relative * across }, unit)] : []),
      !metric.isMetric
        ? unknown(name, 'mm²', noScale)
        : share < minKnown || sloped === 0
          ? unknown(name, 'mm²', noDepth)
          : known(name, surfaceOf(across, surface / sloped, smooth / sloped, relative), 'mm²'),
    ],
    remarks: [
      ...coverageRemarks(share),
      ...(edges > 0
        ? [
            `Slopes of more than 80° (${Math.ceil((100 * edges) / depth.pixels)} % of the region) are taken for edges before something behind: no surface is counted between.`,
          ]
        : []),
    ],
  };
}

/** Errors of depth make a surface longer; how much, the slopes over two pixels show, which see half of them. */
function surfaceOf(across: number, fine: number, coarse: number, relative: number): Uncertain {
  const value = across * fine;
  return { value, sigma: Math.hypot(relative * value, across * (fine - coarse)) };
}

/** Area of the surface over that across, by central differences over `reach` pixels; NaN where a neighbour is unknown. */
function slopeAt(
  metric: Metric,
  { width, height, depth }: DepthField,
  i: number,
  side: number,
  reach: number,
): number {
  const [x, y] = [i % width, Math.floor(i / width)];
  const [left, right] = [Math.max(0, x - reach), Math.min(width - 1, x + reach)];
  const [top, bottom] = [Math.max(0, y - reach), Math.min(height - 1, y + reach)];
  if (left === right || top === bottom) return Number.NaN;
  const row = y * width;
  const across = (depth[row + right] - depth[row + left]) / (right - left);
  const down = (depth[bottom * width + x] - depth[top * width + x]) / (bottom - top);
  return Math.hypot(1, (across * metric.height) / side, (down * metric.height) / side);
}

/** A plane z = slopeX x + slopeY y + offset over the points across. */
export interface Plane {
  slopeX: number;
  slopeY: number;
  offset: number;
  /** Standard uncertainty of its height over the region. */
  sigma: number;
  from: string;
}

/** The plane through three points of known depth; undefined where they lie on a line. */
export function planeThrough(points: readonly SpacePoint[], sigma: number): Plane | undefined {
  const fit = leastSquares(points.map(([x, y, z]) => [x, y, 1, z]));
  return fit && { slopeX: fit[0], slopeY: fit[1], offset: fit[2], sigma, from: 'the three given points' };
}

/** The plane by least squares through the known pixels of the region's rim. */
function planeOfRim(metric: Metric, region: MeasuredRegion): Plane | undefined {
  const { field } = region;
  const rim = rimPixels(region).filter((i) => !Number.isNaN(field.depth[i]));
  if (rim.length < 8) return undefined;
  const fit = leastSquares(
    rim.map((i) => [...spaceOf(metric, field, i).slice(0, 2), 1, spaceOf(metric, field, i)[2]]),
  );
  if (!fit) return undefined;
  const variance = rim.reduce((sum, i) => sum + field.sigma[i] ** 2, 0) / rim.length;
  const independent = Math.max(1, rim.length / Math.sqrt(independentPx));
  return {
    slopeX: fit[0],
    slopeY: fit[1],
    offset: fit[2],
    // Offset and two slopes are taken from it.
    sigma: metric.height * Math.sqrt((3 * variance) / independent),
    from: 'the rim of the region',
  };
}

/** Volume between the surface of a region and a plane: what stands out toward the camera, what lies behind, and both. */
export function measureVolume(metric: Metric, region: MeasuredRegion, given?: Plane): RegionOutcome {
  const names = ['volume above the plane', 'volume below the plane', 'volume above less below'] as const;
  const unit: QuantityUnit = metric.isMetric ? 'mm³' : 'px²·step';
  const depth = depthOf(region);
  const share = depth.known / depth.pixels;
  const plane = share >= minKnown ? (given ?? planeOfRim(metric, region)) : undefined;
  if (metric.across !== (metric.along === 'mm' ? 'mm' : 'px')) {
    return { quantities: names.map((name) => unknown(name, 'mm³', noScale)), remarks: [] };
  }
  if (!plane) return { quantities: names.map((name) => unknown(name, unit, noDepth)), remarks: [] };
  const { field, mask } = region;
  let [above, below, area] = [0, 0, 0];
  for (let i = 0; i < mask.length; i++) {
    if (!mask[i] || Number.isNaN(field.depth[i])) continue;
    const [x, y, z] = spaceOf(metric, field, i);
    const cell = sideAt(metric, field.depth[i]) ** 2;
    const height = plane.slopeX * x + plane.slopeY * y + plane.offset - z;
    area += cell;
    if (height > 0) above += height * cell;
    else below -= height * cell;
  }
  // Pixels without depth are taken to be like the others.
  const fill = 1 / share;
  const own =
    (metric.height * Math.sqrt(depth.variance)) / Math.sqrt(Math.max(1, depth.known / independentPx));
  const ofHeight = area * fill * Math.hypot(own, plane.sigma);
  const withSigma = (value: number): Uncertain => ({
    value,
    sigma: Math.hypot(ofHeight, 3 * metric.relativeSigma * value, (fill - 1) * value),
  });
  return {
    quantities: [
      known(names[0], withSigma(above * fill), unit),
      known(names[1], withSigma(below * fill), unit),
      known(names[2], withSigma((above - below) * fill), unit),
    ],
    remarks: [`The plane is that of ${plane.from}.`, ...coverageRemarks(share)],
  };
}

/** Radius of the sphere that fits the surface of a region best, by the squares of the distances from it. */
export function measureSphere(metric: Metric, region: MeasuredRegion): RegionOutcome {
  const name = 'radius of the sphere';
  if (!metric.isMetric) return { quantities: [unknown(name, 'mm', noScale)], remarks: [] };
  const depth = depthOf(region);
  const share = depth.known / depth.pixels;
  const { field, mask } = region;
  const points: SpacePoint[] = [];
  // Evenly left out where there are more: the fit needs no more, and as objects they take much memory.
  const every = Math.ceil(mask.length / maxSpherePoints);
  for (let i = 0; i < mask.length; i += every) {
    if (mask[i] && !Number.isNaN(field.depth[i])) points.push(spaceOf(metric, field, i));
  }
  if (share < minKnown || points.length < 16)
    return { quantities: [unknown(name, 'mm', noDepth)], remarks: [] };
  const fit = fitSphere(points);
  if (!fit) return { quantities: [unknown(name, 'mm', 'the surface there is as good as flat')], remarks: [] };
  const noise = Math.max(fit.residual, metric.height * Math.sqrt(depth.variance));
  const independent = Math.max(4, Math.min(points.length, depth.known / independentPx));
  const sigma = Math.hypot(
    noise * fit.errorFactor * Math.sqrt(points.length / independent),
    metric.relativeSigma * fit.radius,
  );
  if (sigma > fit.radius / 2) {
    return {
      quantities: [unknown(name, 'mm', 'the surface there shows too little of a curve')],
      remarks: [],
    };
  }
  const bulge = fit.centre[2] > meanOf(points, 2) ? 'toward the camera' : 'away from the camera';
  return {
    quantities: [known(name, { value: fit.radius, sigma }, 'mm')],
    remarks: [`The surface bulges ${bulge}.`, ...coverageRemarks(share)],
  };
}

interface SphereFit {
  centre: SpacePoint;
  radius: number;
  /** Root mean square of the distances from it. */
  residual: number;
  /** Standard uncertainty of the radius for a distance of 1 with that uncertainty at each point. */
  errorFactor: number;
}

/**
 * Algebraic fit of x² + y² + z² = 2 cx x + 2 cy y + 2 cz z + k, then Gauss-Newton steps on the distances (Ahn, Rauh &
 * Warnecke, Pattern Recognition 34(12), 2001).
 */
export function fitSphere(points: readonly SpacePoint[]): SphereFit | undefined {
  const middle = [0, 1, 2].map((axis) => meanOf(points, axis));
  const local = points.map((point) => point.map((value, axis) => value - middle[axis]));
  const algebraic = leastSquares(local.map(([x, y, z]) => [2 * x, 2 * y, 2 * z, 1, x * x + y * y + z * z]));
  if (!algebraic) return undefined;
  let centre = algebraic.slice(0, 3);
  let radius = Math.sqrt(Math.max(0, algebraic[3] + centre.reduce((sum, c) => sum + c * c, 0)));
  const rowOf = (point: readonly number[]) => {
    const toward = point.map((value, axis) => value - centre[axis]);
    const distance = Math.hypot(...toward);
    return [...toward.map((value) => value / distance), 1, distance - radius];
  };
  for (let step = 0; step < 20; step++) {
    const change = leastSquares(local.map(rowOf));
    if (!change) return undefined;
    centre = centre.map((value, axis) => value + change[axis]);
    radius += change[3];
    if (Math.hypot(...change) < 1e-9 * radius) break;
  }
  if (!Number.isFinite(radius) || radius <= 0) return undefined;
  const rows = local.map(rowOf);
  const residual = Math.sqrt(rows.reduce((sum, row) => sum + row[4] ** 2, 0) / rows.length);
  // The last diagonal element of the inverse normal matrix: the solution for the right side (0, 0, 0, 1).
  const variance = leastSquaresInverse(rows);
  if (variance === undefined) return undefined;
  return {
    centre: centre.map((value, axis) => value + middle[axis]) as SpacePoint,
    radius,
    residual,
    errorFactor: Math.sqrt(variance),
  };
}

function leastSquaresInverse(rows: readonly (readonly number[])[]): number | undefined {
  const normal = [0, 1, 2, 3].map((i) => [
    ...[0, 1, 2, 3].map((j) => rows.reduce((sum, row) => sum + row[i] * row[j], 0)),
    i === 3 ? 1 : 0,
  ]);
  return solve(normal)?.[3];
}

function meanOf(points: readonly SpacePoint[], axis: number): number {
  return points.reduce((sum, point) => sum + point[axis], 0) / points.length;
}

/** Mean of the depths that are known; undefined where none is. */
export function meanDepth(region: MeasuredRegion): number | undefined {
  const { known, mean } = depthOf(region);
  return known > 0 ? mean : undefined;
}

function depthOf({ field, mask }: MeasuredRegion): RegionDepth {
  let [pixels, count, sum, variance] = [0, 0, 0, 0];
  for (let i = 0; i < mask.length; i++) {
    if (!mask[i]) continue;
    pixels++;
    if (Number.isNaN(field.depth[i])) continue;
    count++;
    sum += field.depth[i];
    variance += field.sigma[i] ** 2;
  }
  return { pixels, known: count, mean: sum / count, variance: variance / count };
}

/** Pixels that belong and have a neighbour that does not, or lie at the edge of the field. */
function rimPixels({ field: { width, height }, mask }: MeasuredRegion): number[] {
  const rim: number[] = [];
  for (let i = 0; i < mask.length; i++) {
    if (!mask[i]) continue;
    const [x, y] = [i % width, Math.floor(i / width)];
    const isInner =
      x > 0 &&
      y > 0 &&
      x < width - 1 &&
      y < height - 1 &&
      mask[i - 1] &&
      mask[i + 1] &&
      mask[i - width] &&
      mask[i + width];
    if (!isInner) rim.push(i);
  }
  return rim;
}

function spaceOf(metric: Metric, field: DepthField, i: number): SpacePoint {
  const { width, x, y, depth } = field;
  return pointAt(metric, x + (i % width), y + Math.floor(i / width), depth[i]);
}

function coverageRemarks(share: number): string[] {
  if (share > 0.995) return [];
  return [
    `Of the region ${Math.round(100 * share)} % has a depth that may be trusted; the rest is taken to be like it.`,
  ];
}

import { InputError, UsageError } from '../errors.js';
import { type MendRegion, regionBounds, regionFault, regionMask } from '../mend/mend-region.js';
import { appliedMends } from '../mend/mended-record.js';
import { optionError } from '../option-error.js';
import { validateOptions, withDefaults } from '../options/validate-options.js';
import { resultScale } from '../relief/scale.js';
import {
  type MeasureRequest,
  measureRequestShape,
  type Quantity,
  type StoredMeasure,
  stateOfMeasures,
} from '../result/measures-file.js';
import { type Result, readResult } from '../result/read-result.js';
import type { MeasurePoint } from '../result/region-shape.js';
import { significantNumber } from '../result/report/numbers.js';
import { clipRegion, growRegion, type PictureRegion } from '../trace/picture-region.js';
import { readDepthField } from './depth-field.js';
import { type MeasureOptions, measureOptionTable } from './measure-options.js';
import { type Metric, metricOf, pointAt, sideAt } from './metric.js';
import { measureAngle, measureDistance, measureHeight, placePoints } from './point-measures.js';
import { knownShare, type Profile, profileAlong } from './profile.js';
import { known, noDepth, unknown } from './quantities.js';
import {
  type MeasuredRegion,
  meanDepth,
  measureArea,
  measureSphere,
  measureVolume,
  type Plane,
  planeThrough,
  type RegionOutcome,
} from './region-measures.js';
import { arealRoughness, profileRoughness, type Roughness } from './roughness.js';
import { measureStep } from './step-height.js';

/** A measure that was just made. */
export interface Measured extends Omit<StoredMeasure, 'id'> {
  /** Of a profile, and of what is measured along a line. */
  profile?: Profile | undefined;
}

/** Points that a kind of measure takes, where it takes no region. */
const pointCounts: Partial<Record<MeasureRequest['kind'], number>> = {
  distance: 2,
  height: 2,
  angle: 3,
  profile: 2,
  'step-height': 2,
};

/**
 * Measures a result: lengths from pixels and depth, with the perspective of the rail taken out, each with an uncertainty. What
 * cannot be known has no value and says why. Nothing is written.
 *
 * @param given Lengths that take the place of what the merge was given.
 * @throws UsageError for a request or option that is wrong; InputError when the result cannot be read.
 */
export async function measureResult(
  folder: string,
  requests: readonly MeasureRequest[],
  given: Partial<MeasureOptions> = {},
): Promise<Measured[]> {
  return measureOpened(await readResult(folder), requests, given);
}

/** As `measureResult`, of a result that is read already. */
export async function measureOpened(
  result: Result,
  requests: readonly MeasureRequest[],
  given: Partial<MeasureOptions> = {},
): Promise<Measured[]> {
  const { record } = result;
  const { scaleErrorPercent, ...scaleOptions } = withDefaults(
    measureOptionTable,
    validateOptions(measureOptionTable, given),
  );
  const scale = resultScale(record, scaleOptions);
  const metric = metricOf(scale, scaleErrorPercent);
  for (const request of requests) checkRequest(request, result);
  const measures: Measured[] = [];
  for (const request of requests) {
    const found = await measureOne(result, metric, request);
    measures.push({
      ...request,
      note: request.note ?? '',
      ...found,
      remarks: [
        ...found.remarks,
        ...mendRemarks(result, request),
        ...generalRemarks(metric, found.quantities),
      ],
      state: stateOfMeasures(record),
      measuredAt: new Date().toISOString(),
      mmPerPixel: scale.mmPerPixel ?? null,
      mmPerDepth: scale.mmPerDepth ?? null,
      scaleErrorPercent,
    });
  }
  return measures;
}

interface Found {
  quantities: Quantity[];
  remarks: string[];
  cutoff?: MeasureRequest['cutoff'];
  profile?: Profile;
}

/** Of mended pixels the depth is the plane of the frame that a person chose, or that of the rule. */
function mendRemarks({ record }: Result, { points, region }: MeasureRequest): string[] {
  const bounds = region ? regionBounds(region, record.size)! : boundsOf(points!);
  const touching = appliedMends(record).filter((mend) => {
    const mended = regionBounds(mend.region, record.size);
    return mended && clipRegion({ ...mended, x: mended.x - bounds.x, y: mended.y - bounds.y }, bounds);
  });
  if (touching.length === 0) return [];
  const ids = touching.map(({ id }) => id).join(', ');
  return [
    `Mended there by hand (mend ${ids}): where it was, depth is the plane of focus of the frame, or the depth of the rule, that was chosen.`,
  ];
}

async function measureOne(result: Result, metric: Metric, request: MeasureRequest): Promise<Found> {
  const { kind, points, region, cutoff } = request;
  if (region) {
    const measured = await readRegion(result, metric, region);
    if (kind === 'area') return measureArea(metric, measured);
    if (kind === 'volume') return measureVolume(metric, measured, await givenPlane(result, metric, request));
    if (kind === 'sphere') return measureSphere(metric, measured);
    return fromRoughness(regionRoughness(metric, measured, cutoff), measured);
  }
  const field = await readDepthField(result, metric.scale, boundsOf(points!));
  const placed = placePoints(field, points!);
  if (kind === 'distance') return { quantities: measureDistance(metric, placed), remarks: [] };
  if (kind === 'height') return { quantities: measureHeight(metric, placed), remarks: [] };
  if (kind === 'angle') return { quantities: measureAngle(metric, placed), remarks: [] };
  const profile = profileAlong(field, metric, points!);
  if (kind === 'profile') return { ...profileFacts(metric, profile), profile };
  if (kind === 'step-height') return { ...measureStep(metric, profile), profile };
  const roughness = profileRoughness(metric, profile, cutoff);
  return { ...fromRoughness(roughness), profile };
}

function fromRoughness({ quantities, remarks, cutoff }: Roughness, measured?: MeasuredRegion): Found {
  const length = `${significantNumber(cutoff.value, 3)} ${cutoff.unit}`;
  const form = measured ? 'A plane' : 'A line';
  return {
    quantities,
    remarks: [`${form} by least squares was taken out; cut-off ${length}, Gaussian filter.`, ...remarks],
    cutoff,
  };
}

function regionRoughness(
  metric: Metric,
  { field, mask }: MeasuredRegion,
  cutoff: MeasureRequest['cutoff'],
): Roughness {
  const { depth, sigma } = field;
  const pixels = mask.reduce((sum, belongs) => sum + belongs, 0);
  const heights = depth.map((value, i) => (mask[i] ? -value * metric.height : Number.NaN));
  const noise = sigma.map((value) => value * metric.height);
  const spacing = sideAt(metric, meanDepth({ field, mask }) ?? 0);
  return arealRoughness(metric, heights, noise, field, pixels, spacing, cutoff);
}

/** Length, range of heights, and what is known of a profile. */
function profileFacts(metric: Metric, profile: Profile): RegionOutcome {
  const { samples, unit } = profile;
  const inside = samples.filter(({ height }) => Number.isFinite(height));
  const [first, last] = [samples[0], samples[samples.length - 1]];
  const lengthPx = Math.hypot(last.x - first.x, last.y - first.y);
  const relative = Math.hypot(metric.relativeSigma, Math.sqrt(2 / 12) / lengthPx);
  const length = known('length across', { value: last.along, sigma: relative * last.along }, unit.along);
  if (inside.length === 0)
    return { quantities: [length, unknown('range of heights', unit.height, noDepth)], remarks: [] };
  const highest = inside.reduce((one, other) => (other.height > one.height ? other : one));
  const lowest = inside.reduce((one, other) => (other.height < one.height ? other : one));
  const range = highest.height - lowest.height;
  const sigma = Math.hypot(highest.sigma, lowest.sigma, metric.relativeSigma * range);
  const share = knownShare(profile);
  return {
    quantities: [length, known('range of heights', { value: range, sigma }, unit.height)],
    remarks:
      share < 0.995
        ? [`Along ${Math.round(100 * share)} % of the line a depth is known that may be trusted.`]
        : [],
  };
}

async function readRegion(result: Result, metric: Metric, region: MendRegion): Promise<MeasuredRegion> {
  const bounds = regionBounds(region, result.record.size)!;
  const field = await readDepthField(result, metric.scale, bounds);
  return { field, mask: regionMask(region, bounds) };
}

async function givenPlane(
  result: Result,
  metric: Metric,
  { plane }: MeasureRequest,
): Promise<Plane | undefined> {
  if (!plane) return undefined;
  const field = await readDepthField(result, metric.scale, boundsOf(plane));
  const placed = placePoints(field, plane);
  const points = placed.flatMap(({ x, y, depth }) => (depth ? [pointAt(metric, x, y, depth.depth)] : []));
  if (points.length < 3)
    throw new InputError(
      'No depth that may be trusted is known at one of the three points of the plane: choose others.',
    );
  const sigma = metric.height * Math.sqrt(placed.reduce((sum, { depth }) => sum + depth!.sigma ** 2, 0) / 3);
  const through = planeThrough(points, sigma);
  if (!through)
    throw new UsageError('Expected three points that do not lie on one line for the plane of a volume.');
  return through;
}

/** The rectangle that holds points, and the pixels between which a profile runs. */
function boundsOf(points: readonly MeasurePoint[]): PictureRegion {
  const xs = points.map(([x]) => Math.round(x));
  const ys = points.map(([, y]) => Math.round(y));
  const [x, y] = [Math.min(...xs), Math.min(...ys)];
  return growRegion({ x, y, width: Math.max(...xs) - x + 1, height: Math.max(...ys) - y + 1 }, 1);
}

/** What is not known of the lengths, where any but pixels are told. */
function generalRemarks({ scale }: Metric, quantities: readonly Quantity[]): string[] {
  return quantities.every(({ unit }) => unit === 'px' || unit === 'px²') ? [] : scale.notes;
}

/**
 * Makes sure that a request can be measured on a result.
 *
 * @throws UsageError.
 */
function checkRequest(request: MeasureRequest, { record: { size } }: Result): void {
  const fault = measureRequestShape(request, 'measure');
  if (fault) throw optionError(fault.field, fault.expected, fault.received);
  const { kind, points, region, plane } = request;
  const count = pointCounts[kind] ?? (kind === 'roughness' && points ? 2 : undefined);
  if (count === undefined && !region) throw optionError(kind, 'a region', points);
  if (count !== undefined && points?.length !== count) {
    throw optionError(kind, `${count} points "x,y x,y${count === 3 ? ' x,y' : ''}"`, points);
  }
  const off = [...(points ?? []), ...(plane ?? [])].find(
    ([x, y]) => !(x >= 0 && y >= 0 && x <= size.width - 1 && y <= size.height - 1),
  );
  if (off) {
    throw optionError(kind, `points inside the picture of ${size.width} x ${size.height} pixels`, off, {
      shown: off.join(','),
    });
  }
  if (points && new Set(points.map(String)).size < points.length) {
    throw optionError(kind, 'points that differ', points, { shown: points.join(' ') });
  }
  const reason = region && regionFault(region, size);
  if (reason !== undefined) throw new UsageError(`The region of ${kind} cannot be measured: ${reason}.`);
}

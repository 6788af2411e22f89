import { availableParallelism } from 'node:os';
import { InputError } from '../errors.js';
import { optionName } from '../option-names.js';
import { readResult } from '../result/read-result.js';
import type { CoverageClassRecord, DepthUnit, RunRecord } from '../result/run-record.js';
import { mapLimited } from '../stack/map-limited.js';
import { countOf, someNames } from '../stack/words.js';
import { clearestLevel, measureRegion, type RegionMeasure } from './focus-curve.js';
import { LocalKernels } from './local-kernels.js';
import { checkPictureRegion, type PictureRegion } from './picture-region.js';
import { type RegionMaps, readRegionMaps } from './result-region.js';
import { findStackFrames, requireUnchanged, type StackFrame } from './stack-frames.js';

/** Where a region of a result comes from, and how far to trust it. */
export interface TraceReport {
  schema: 'lamella-trace';
  version: 1;
  /** In composite pixels. */
  region: PictureRegion;
  /** Frames that supplied the region, the largest share first. */
  sources: TracedSource[];
  /** Depth over the pixels that have one; null when none has. */
  depth: { unit: DepthUnit; median: number; min: number; max: number } | null;
  /** 0 to 1. */
  confidence: { mean: number; min: number };
  /** Classes that occur, the largest share first. */
  coverage: { name: string; percent: number }[];
  /** Focus measure by frame in capture order; null when no frame could be read. */
  focusCurve: FocusCurve | null;
  /** Plain sentences for the user. */
  warnings: string[];
}

/** A frame and its share of a region. */
export interface TracedSource {
  /** 0 = no frame. */
  frame: number;
  name: string;
  sharePercent: number;
}

/** How sharp a region is in each frame, by the focus measure of the merge. */
export interface FocusCurve {
  /** Side of the window over which the measure was taken, composite pixels. */
  windowPx: number;
  unit: 'squared 8-bit levels';
  frames: {
    frame: number;
    name: string;
    depth: number | null;
    /** Null when the frame cannot be read or does not cover the region. */
    measure: number | null;
  }[];
}

/** How a region is traced. */
export interface TraceOptions {
  /** Where the frames lie now, when they moved. */
  framesFrom?: string | undefined;
  signal?: AbortSignal | undefined;
  /** Told after each frame that was read. */
  onProgress?: ((done: number, frames: number) => void) | undefined;
}

/** Frames whose fault is reported one by one: 300 that changed have one reason. */
const shownFaults = 3;

/** Window of the measure at the finest level, pixels: five taps. */
const finestWindowPx = 5;

/**
 * Traces a region of a result to the frames that supplied it.
 *
 * @throws UsageError when the region leaves the picture or is not of whole pixels; InputError when the folder is no result or is damaged. Frames that are missing or have changed since the
 *   merge are named in `warnings` and have no value in the curve.
 */
export async function traceRegion(
  folder: string,
  region: PictureRegion,
  options: TraceOptions = {},
): Promise<TraceReport> {
  const result = await readResult(folder);
  const { record } = result;
  checkPictureRegion(region, record.size);
  const maps = await readRegionMaps(result, region);
  const frames = await findStackFrames(record, options.framesFrom);
  const warnings: string[] = [];
  const focusCurve = await traceCurve(frames, region, options, warnings);
  return {
    schema: 'lamella-trace',
    version: 1,
    region,
    sources: sourceShares(maps.sources, record),
    depth: depthRange(maps.depth, record.maps.depth.unit),
    confidence: confidenceRange(maps.confidence, record.maps.confidence.scale),
    coverage: coverageShares(maps, record.maps.coverage.classes),
    focusCurve,
    warnings,
  };
}

async function traceCurve(
  frames: readonly StackFrame[],
  region: PictureRegion,
  { signal, onProgress }: TraceOptions,
  warnings: string[],
): Promise<FocusCurve | null> {
  const kernels = await LocalKernels.start();
  const faultOf = new Map<StackFrame, string>();
  let done = 0;
  const measure = async (frame: StackFrame): Promise<RegionMeasure> => {
    try {
      if (frame.path === undefined) return [];
      return await measureRegion(kernels, frame, await requireUnchanged(frame), region);
    } catch (error) {
      if (!(error instanceof InputError)) throw error;
      faultOf.set(frame, error.message);
      return [];
    } finally {
      onProgress?.(++done, frames.length);
    }
  };
  const measures = await mapLimited(frames, availableParallelism(), measure, signal);
  const faults = frames.flatMap((frame) => faultOf.get(frame) ?? []);
  warnings.push(...faults.slice(0, shownFaults));
  if (faults.length > shownFaults) {
    warnings.push(
      `So it is with ${faults.length - shownFaults} more of the ${countOf(frames.length, 'frame')}.`,
    );
  }
  const missing = frames.filter(({ path }) => path === undefined);
  if (missing.length > 0) {
    const names = missing.map(({ name }) => name);
    const which = missing.length === frames.length ? 'None of the frames is' : `${someNames(names)}: not`;
    warnings.push(
      `${which} in "${missing[0].folder}". If the frames moved, say where with ${optionName('framesFrom')} FOLDER.`,
    );
  }
  if (measures.every((measure) => measure.length === 0)) return null;
  const level = clearestLevel(measures);
  return {
    windowPx: finestWindowPx << level,
    unit: 'squared 8-bit levels',
    frames: frames.map(({ number, name, depth }, i) => {
      const measure = measures[i][level] ?? Number.NaN;
      return { frame: number, name, depth, measure: Number.isFinite(measure) ? measure : null };
    }),
  };
}

function sourceShares(sources: Uint16Array, record: RunRecord): TracedSource[] {
  const counts = new Map<number, number>();
  for (const number of sources) counts.set(number, (counts.get(number) ?? 0) + 1);
  const names = new Map(record.frames.map(({ number, name }) => [number, name]));
  return [...counts]
    .sort((first, second) => second[1] - first[1] || first[0] - second[0])
    .map(([frame, count]) => ({
      frame,
      name: names.get(frame) ?? '',
      sharePercent: (100 * count) / sources.length,
    }));
}

function depthRange(depth: Float32Array, unit: DepthUnit): TraceReport['depth'] {
  const known = depth.filter((value) => Number.isFinite(value)).sort();
  if (known.length === 0) return null;
  return { unit, median: known[known.length >> 1], min: known[0], max: known[known.length - 1] };
}

function confidenceRange(values: Uint8Array, scale: number): TraceReport['confidence'] {
  let sum = 0;
  let min = 255;
  for (const value of values) {
    sum += value;
    min = Math.min(min, value);
  }
  return { mean: (sum / values.length) * scale, min: min * scale };
}

function coverageShares(maps: RegionMaps, classes: readonly CoverageClassRecord[]): TraceReport['coverage'] {
  const counts = new Map<number, number>();
  for (const colour of maps.coverageColours) counts.set(colour, (counts.get(colour) ?? 0) + 1);
  return classes
    .map(({ name, colour }) => ({
      name,
      percent: (100 * (counts.get(Number.parseInt(colour.slice(1), 16)) ?? 0)) / maps.coverageColours.length,
    }))
    .filter(({ percent }) => percent > 0)
    .sort((first, second) => second.percent - first.percent);
}

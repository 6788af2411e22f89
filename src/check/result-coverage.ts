import type { RunRecord } from '../result/run-record.js';
import type { CoverageShares } from './coverage-findings.js';
import { distanceOfFall, goodFall } from './focus-fit.js';

/** A band of the maps of a result that tell where gaps lie; (rows, cols) each. */
export interface CoverageMaps {
  depth: Float32Array;
  /** Index of the coverage class. */
  coverage: Uint8Array;
}

/** Beyond the ends, what most of it needs: this part of the pixels. */
const mostPart = 0.9;
/** For which evenly taken pixels speak: this many at most. */
const mostDistances = 4e6;

/**
 * What a merge left uncovered, for `coverageFindings`: shares from the record, and from the full-size maps, where they are
 * given, between which frames gaps lie and how far the subject goes on beyond the ends.
 */
export function resultCoverage(record: RunRecord, maps?: Iterable<CoverageMaps>): CoverageShares {
  const percent = (name: string) =>
    record.maps.coverage.classes.find((entry) => entry.name === name)?.percent ?? 0;
  const numbers = record.frames.filter(({ used }) => used).map(({ number }) => number);
  const places = maps && placesOf(record, maps);
  return {
    beforeFirst: percent('before-first'),
    afterLast: percent('after-last'),
    noDetail: percent('no-detail'),
    gapPercent: percent('gap'),
    outOfReach: percent('out-of-reach'),
    gaps: places?.gaps ?? [],
    firstNumber: numbers[0] ?? record.frames[0]?.number ?? 1,
    lastNumber: numbers.at(-1) ?? record.frames.at(-1)?.number ?? 1,
    direction: record.direction,
    missingBefore: places?.missingBefore,
    missingAfter: places?.missingAfter,
    widthSteps: record.focusWidthSteps,
    ...(record.focusWidthSteps !== undefined && {
      neededStepPart: 2 * distanceOfFall(goodFall, record.focusWidthSteps),
    }),
    stepMm: record.stepMm,
  };
}

function placesOf(record: RunRecord, bands: Iterable<CoverageMaps>) {
  const planes = record.frames.flatMap(({ number, used, depth: at, travelSteps }) =>
    used && at !== null ? [{ number, at, travelSteps }] : [],
  );
  if (planes.length < 2) return undefined;
  const index = (name: string) =>
    record.maps.coverage.classes.find((entry) => entry.name === name)?.value ?? -1;
  const [before, after, gap] = [index('before-first'), index('after-last'), index('gap')];
  const counts = new Uint32Array(planes.length - 1);
  const beyond: [number[], number[]] = [[], []];
  const [first, last] = [planes[0].at, planes[planes.length - 1].at];
  const step = Math.abs(last - first) / (planes.length - 1) || 1;
  const every = Math.ceil((record.size.width * record.size.height) / mostDistances);
  let at = 0;
  for (const { depth, coverage } of bands) {
    for (let i = 0; i < coverage.length; i++, at++) {
      if (coverage[i] === gap) {
        const k = intervalOf(planes, depth[i]);
        if (k >= 0) counts[k]++;
      } else if (at % every !== 0) continue;
      else if (coverage[i] === before) beyond[0].push(Math.abs(depth[i] - first) / step);
      else if (coverage[i] === after) beyond[1].push(Math.abs(depth[i] - last) / step);
    }
  }
  return {
    gaps: Array.from(counts).flatMap((count, k) => {
      if (count === 0) return [];
      const { number: to, travelSteps } = planes[k + 1];
      const gap = { from: planes[k].number, to, percent: (100 * count) / at };
      return [typeof travelSteps === 'number' ? { ...gap, steps: travelSteps } : gap];
    }),
    missingBefore: high(beyond[0]),
    missingAfter: high(beyond[1]),
  };
}

/** Index of the frame before the interval that holds a depth; planes rise or fall. -1 for none. */
function intervalOf(planes: readonly { at: number }[], depth: number): number {
  const rises = planes[planes.length - 1].at >= planes[0].at;
  let low = 0;
  let high = planes.length - 1;
  if (!(depth >= Math.min(planes[0].at, planes[high].at) && depth <= Math.max(planes[0].at, planes[high].at)))
    return -1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (planes[middle].at <= depth === rises) low = middle;
    else high = middle;
  }
  return low;
}

function high(distances: number[]): number | undefined {
  const known = distances.filter(Number.isFinite).sort((p, q) => p - q);
  return known.length > 0 ? known[Math.floor(mostPart * (known.length - 1))] : undefined;
}

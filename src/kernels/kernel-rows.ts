import type { Address, Rows } from './arena.js';
import type { kernelParameters } from './kernel-parameters.js';
import type { KernelName, StripArguments } from './kernels.js';
import type { RowRange } from './row-windows.js';

type Argument<K extends KernelName> = Exclude<(typeof kernelParameters)[K][number], 'strip' | 'scratch'>;

/**
 * Which rows a strip kernel touches, for pictures that are cut into bands of rows. Of planes of the composite that are not
 * named in `reads` it reads the rows of its strip alone (in a plane of another level: what lies at them).
 */
interface KernelRows<K extends KernelName> {
  /** What it writes in the rows of its strip, and in no others. `levels`: planes of the argument `level`, or of level 0. */
  writes: Argument<K>;
  /** What of its output strips of other kernels, or of its next run, read beyond their own rows. */
  shares?: readonly Argument<K>[];
  /** Rows above and below its strip that it reads, in rows of the plane that is read. */
  reads?: Readonly<Partial<Record<Argument<K>, number | ((given: StripArguments<K>) => number)>>>;
}

const rimRows = ({ widest, pitch }: StripArguments<'markFalseRimsStrip'>) => Number(widest) / Number(pitch);
const holeRows = ({ hole }: StripArguments<'aggregateStrip'>) => Number(hole);
const smoothRows = ({ step }: StripArguments<'smoothStrip'>) => 2 * Number(step);

/**
 * Of every strip kernel. What lies in a frame's own grid is not counted here: each memory holds all that its band is made
 * from (`RowBands.frame`) and computes it itself.
 */
export const kernelRows: { [K in KernelName]: KernelRows<K> } = {
  // In the grid of a frame.
  focusFinestStrip: { writes: 'codes' },
  focusStrip: { writes: 'codes' },
  lumaCodesStrip: { writes: 'out' },
  reduceFrameStrip: { writes: 'out' },
  // From a frame into the grid of the composite.
  trackStrip: { writes: 'state' },
  pickStrip: { writes: 'best' },
  noteLightStrip: { writes: 'out' },
  warpStrip: { writes: 'out', shares: ['out'] },
  blendFinestStrip: { writes: 'acc', reads: { coarse: 1 } },
  // In the grid of the composite.
  clearStrip: { writes: 'out', shares: ['out'] },
  markTruncatedStrip: { writes: 'levels' },
  peakStrip: { writes: 'levels', shares: ['levels'] },
  markFalseRimsStrip: { writes: 'marks', reads: { rises: rimRows, depthIndices: rimRows } },
  dropFalseRimsStrip: { writes: 'rises', shares: ['rises', 'weights'] },
  markLeaksStrip: { writes: 'levels', shares: ['levels'], reads: { levels: 10 } },
  gatherStrip: { writes: 'supports', shares: ['supports'] },
  aggregateStrip: { writes: 'out', shares: ['out'], reads: { supports: holeRows, levels: holeRows } },
  labelStrip: { writes: 'labels', shares: ['labels'], reads: { levels: 3 } },
  decideStrip: { writes: 'decided', reads: { labels: 11, levels: 11 } },
  storeSurfaceStrip: { writes: 'levels', shares: ['levels'] },
  smoothStrip: {
    writes: 'outIndices',
    shares: ['outIndices', 'outWeights'],
    reads: { depthIndices: smoothRows, weights: smoothRows },
  },
  pushStrip: { writes: 'outIndices', shares: ['outIndices', 'outWeights'] },
  pullStrip: { writes: 'depthIndices', shares: ['depthIndices'], reads: { coarse: 1 } },
  markDepthEdgesStrip: { writes: 'marks', shares: ['marks'], reads: { depthIndices: 3, certainties: 1 } },
  mapDepthStrip: { writes: 'out', shares: ['out', 'certainties'], reads: { depthIndices: 6, marks: 6 } },
  halveOneSidedStrip: {
    writes: 'certainties',
    shares: ['certainties'],
    reads: { depthIndices: 12, marks: 12 },
  },
  enlargeStrip: { writes: 'out', shares: ['out'], reads: { coarse: 1 } },
  halveIndicesStrip: { writes: 'median', shares: ['median'], reads: { fine: 1 } },
  planStrip: { writes: 'centres', reads: { fullIndices: 24, fullFronts: 24 } },
  judgeStrip: { writes: 'confidence', reads: { weights: 3, gaps: 3, certainties: 3 } },
  spillCellsStrip: { writes: 'out', shares: ['out'] },
  mergeSpillCellsStrip: { writes: 'out', shares: ['out'] },
  spillStrip: { writes: 'outSpill' },
  subtractSpillStrip: { writes: 'picture', shares: ['picture'] },
  encodeStrip: { writes: 'picture', shares: ['picture'] },
  encodeUsedStrip: { writes: 'picture', shares: ['picture'] },
  reduceStrip: { writes: 'coarse', shares: ['coarse'], reads: { fine: 2 } },
  accumulateStrip: { writes: 'acc', reads: { coarse: 1 } },
  collapseStrip: { writes: 'acc', shares: ['acc'], reads: { coarse: 1 } },
  quantiseStrip: { writes: 'out', reads: { coarse: 1 } },
};

/** Planes that an argument stands for. */
export function rowsOf<K extends KernelName>(given: StripArguments<K>, name: keyof StripArguments<K>): Rows {
  const address: Address = given[name];
  if (typeof address === 'number') {
    throw new TypeError(`Expected rows for ${String(name)} but received the address ${address}`);
  }
  if (!('levels' in address)) return address;
  return address.levels[levelIn(given)];
}

/** The level whose planes a kernel works on, of those in its table. */
function levelIn(given: object): number {
  return 'level' in given ? Number(given.level) : 0;
}

/** Rows that other memories need once a kernel has run. */
export function sharedRows<K extends KernelName>(kernel: K, given: StripArguments<K>): Rows[] {
  return (kernelRows[kernel].shares ?? []).map((name) => rowsOf(given, name));
}

/** The strips of each memory: those whose rows it computes. */
export function stripRanges<K extends KernelName>(
  kernel: K,
  given: StripArguments<K>,
): { from: number; count: number }[] {
  const { window } = rowsOf(given, kernelRows[kernel].writes);
  const stripRows = Number((given as Readonly<Record<'stripRows', Address>>).stripRows);
  return window.own.map(({ from, to }) => {
    if (to <= from) return { from: 0, count: 0 };
    if (from % stripRows !== 0 || (to % stripRows !== 0 && to !== window.height)) {
      throw new RangeError(`Expected bands of whole strips for ${kernel} but received rows ${from} to ${to}`);
    }
    const first = from / stripRows;
    return { from: first, count: Math.ceil(to / stripRows) - first };
  });
}

/** Throws where a memory does not hold what a kernel reads beside the rows of its strips. */
export function requireHalos<K extends KernelName>(kernel: K, given: StripArguments<K>): void {
  const { reads = {}, writes } = kernelRows[kernel];
  const own = rowsOf(given, writes).window;
  for (const [name, rows] of Object.entries(reads) as [keyof StripArguments<K>, unknown][]) {
    if (given[name] === 0) continue;
    const halo = typeof rows === 'function' ? rows(given) : Number(rows);
    const read = rowsOf(given, name).window;
    for (const [m, range] of own.own.entries()) {
      const wanted = rowsAt(range, own.height, read.height, halo);
      const { from, to } = read.held[m];
      if (range.to > range.from && (wanted.from < from || wanted.to > to)) {
        throw new RangeError(
          `Expected rows ${wanted.from} to ${wanted.to} of ${String(name)} for ${kernel} but memory ${m} holds ${from} to ${to}`,
        );
      }
    }
  }
}

/** Rows of a plane of `height` rows at rows of one of another level, and so many more. */
export function rowsAt({ from, to }: RowRange, ownHeight: number, height: number, halo: number): RowRange {
  const scale = 2 ** Math.round(Math.log2(height / ownHeight));
  return {
    from: Math.max(0, Math.floor(from * scale) - halo),
    to: Math.min(height, Math.ceil(to * scale) + halo),
  };
}

import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { missedCorner } from '../mend/check-mends.js';
import { defaultFeatherPx } from '../mend/default-feather.js';
import { type MendRegion, regionBounds, regionFault, regionMask } from '../mend/mend-region.js';
import { mergeWindow, shownAround } from '../mend/merge-region.js';
import type { RowSource } from '../mend/raster.js';
import type { SourceRule } from '../options/source-rule.js';
import { clipRegion, type PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import type { CurveVolume } from './curve-volume.js';
import { sharesIn } from './map-spots.js';
import { requirePreviewSize } from './mend-preview.js';
import type { Candidates } from './protocol.js';
import { maxMergedPixels } from './rule-regions.js';

const sourceRules: readonly SourceRule[] = ['auto', 'select', 'weigh'];
/** Frames that are proposed. */
const shownCandidates = 6;

/**
 * Frames worth mending a region from: the sharpest there by the curves measured so far, and those that supply it. All
 * of them cover the whole region.
 *
 * @param usable Numbers of the frames whose photographs can be used.
 * @param sources The map of sources.
 * @param mergedBy The rule of the merge.
 * @throws InputError when no frame can mend the region: it holds no pixel of the picture, or is too large.
 */
export function mendCandidates(
  region: MendRegion,
  size: Size,
  usable: ReadonlySet<number>,
  frames: readonly StackFrame[],
  curves: CurveVolume,
  sources: RowSource,
  mergedBy: SourceRule,
): Candidates {
  const bounds = regionBounds(region, size);
  const inside = bounds && clipRegion(bounds, size);
  const fault = regionFault(region, size);
  if (!inside || fault !== undefined) {
    throw new InputError(`This region cannot be mended: ${fault ?? 'it holds no pixel of the picture'}.`);
  }
  const featherPx = defaultFeatherPx(region);
  requirePreviewSize(region, featherPx, size);
  const curve = curves.mean(cellsOf(region, inside, curves));
  const shares = new Map(sharesIn(sources, inside));
  const possible = frames
    .map((frame, i) => ({
      frame,
      offer: {
        number: frame.number,
        measure: curve[i],
        sharePercent: 100 * (shares.get(frame.number) ?? 0),
      },
    }))
    .filter(({ frame }) => usable.has(frame.number) && !missedCorner(frame, inside))
    .map(({ offer }) => offer);
  if (possible.length === 0) {
    throw new InputError(
      'No frame that is there covers all of this region: the picture was put together from several. Draw a smaller one.',
    );
  }
  const sharpest = [...possible].sort(
    (first, second) =>
      (second.measure ?? -1) - (first.measure ?? -1) || second.sharePercent - first.sharePercent,
  );
  const suppliers = possible
    .filter(({ sharePercent }) => sharePercent > 0)
    .sort((first, second) => second.sharePercent - first.sharePercent);
  // In turns: one bright hair before it would else hide the frames that show the rest of a region sharp.
  const turns = sharpest.flatMap((frame, i) => (suppliers[i] ? [frame, suppliers[i]] : [frame]));
  const chosen = new Set([...new Set(turns)].slice(0, shownCandidates));
  const window = mergeWindow({ region, featherPx }, size)!;
  const canMerge = usable.size === frames.length && window.width * window.height <= maxMergedPixels;
  return {
    frames: sharpest.filter((frame) => chosen.has(frame)),
    possible: possible.map(({ number }) => number),
    crop: shownAround(inside, size),
    featherPx,
    rules: canMerge ? sourceRules.filter((rule) => rule !== mergedBy) : [],
    window,
  };
}

/** The cells of the curves whose middle lies in a region. */
function cellsOf(
  region: MendRegion,
  bounds: PictureRegion,
  { cellPx, columns, rows }: CurveVolume,
): number[] {
  const window = {
    x: Math.floor(bounds.x / cellPx),
    y: Math.floor(bounds.y / cellPx),
    width: Math.min(columns, Math.ceil((bounds.x + bounds.width) / cellPx)) - Math.floor(bounds.x / cellPx),
    height: Math.min(rows, Math.ceil((bounds.y + bounds.height) / cellPx)) - Math.floor(bounds.y / cellPx),
  };
  const toCells = (value: number) => (value + 0.5) / cellPx - 0.5;
  const inCells: MendRegion =
    region.kind === 'rectangle'
      ? { kind: 'rectangle', ...window }
      : { ...region, points: region.points.map(([x, y]): [number, number] => [toCells(x), toCells(y)]) };
  if (inCells.kind === 'stroke') inCells.widthPx /= cellPx;
  const mask = regionMask(inCells, window);
  const cells: number[] = [];
  for (let i = 0; i < mask.length; i++) {
    const at = (window.y + Math.floor(i / window.width)) * columns + window.x + (i % window.width);
    if (mask[i]) cells.push(at);
  }
  if (cells.length > 0) return cells;
  // A region thinner than a cell may hold no cell's middle: those of its points, or of a rectangle its middle.
  const cellAt = (x: number, y: number) =>
    Math.max(0, Math.min(rows - 1, Math.floor(y / cellPx))) * columns +
    Math.max(0, Math.min(columns - 1, Math.floor(x / cellPx)));
  if (region.kind !== 'rectangle') return [...new Set(region.points.map(([x, y]) => cellAt(x, y)))];
  return [cellAt(bounds.x + bounds.width / 2, bounds.y + bounds.height / 2)];
}

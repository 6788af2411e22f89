import { median, sigmaPerMad } from '../image/median.js';
import type { RunRecord } from '../result/run-record.js';

/** How the picture's scale changes with depth. */
export interface Perspective {
  /**
   * Growth of a pixel's side per unit of depth.tif, relative to its side at the anchor's plane of focus: at the depth d it
   * is 1 + growth d times as wide. The inverse is the distance of the anchor's plane from the lens's entrance pupil.
   * 0 where none is known.
   */
  growth: number;
  /** Standard error of `growth`. */
  sigma: number;
  /** Why none is taken out, where the frames show a change of scale all the same. */
  note?: string;
}

/** Standard errors from which a change of scale counts as seen. */
const clearZ = 3;
/** Minimum side of a pixel at the nearest depth, relative to the anchor's plane: what lies nearer would be at the lens. */
const minRelativeSide = 0.2;
/** Scatter of a frame's scale, px at the picture's edge, below which regularised scales do not get. */
const minScatterPx = 0.03;

/**
 * Perspective of a stack that was shot on a rail. Every frame shows its own plane of focus at one size, so a frame that
 * appears s times as large in the composite lies where a pixel is 1 / s times as wide; seen from one position that is a
 * straight line over the depth (pinhole camera: Hartley & Zisserman, Multiple View Geometry, 2nd ed., ch. 6). The line
 * passes through the anchor's plane, and its slope is that of least absolute errors: the weighted median of the frames'.
 *
 * Where the far end is the larger, as when the lens was focused instead of the camera moved, scales say nothing of
 * perspective.
 */
export function perspectiveOf(
  record: Pick<RunRecord, 'frames' | 'frameSize' | 'direction' | 'anchorNumber' | 'maps'>,
): Perspective {
  const known = record.frames.flatMap(({ used, transform, depth }) => {
    if (!used || !transform || depth === null) return [];
    return [{ depth, side: 1 / Math.hypot(transform[0], transform[3]) }];
  });
  const distant = known.filter(({ depth }) => depth !== 0);
  if (distant.length < 2) return { growth: 0, sigma: 0 };
  const growth = weightedMedian(
    distant.map(({ depth, side }) => ({ value: (side - 1) / depth, weight: Math.abs(depth) })),
  );
  const radiusPx = Math.hypot(record.frameSize.width, record.frameSize.height) / 2;
  const apparent =
    sigmaPerMad * median(Float64Array.from(known, ({ depth, side }) => Math.abs(side - 1 - growth * depth)));
  const scatter = Math.max(apparent, minScatterPx / radiusPx);
  const sigma = scatter / Math.sqrt(known.reduce((sum, { depth }) => sum + depth * depth, 0));
  const isClear = Math.abs(growth) > clearZ * sigma;
  if (record.direction === 'unknown') {
    return {
      growth: 0,
      sigma,
      ...(isClear && {
        note: 'Which end of the stack is near is not known, so perspective is not taken out.',
      }),
    };
  }
  const nearest = Math.min(0, record.maps.depth.min ?? 0);
  const isRail = growth > 0 && 1 + growth * nearest > minRelativeSide;
  if (isRail) return { growth, sigma };
  return {
    growth: 0,
    sigma,
    ...(isClear && {
      note: 'The frames change in scale in a way that no camera on a rail causes, as when the lens is focused instead: perspective is not taken out.',
    }),
  };
}

function weightedMedian(entries: { value: number; weight: number }[]): number {
  const sorted = [...entries].sort((first, second) => first.value - second.value);
  let left = sorted.reduce((sum, { weight }) => sum + weight, 0) / 2;
  for (const { value, weight } of sorted) {
    left -= weight;
    if (left <= 0) return value;
  }
  return 0;
}

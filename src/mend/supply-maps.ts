import type { RunFrame } from '../result/run-record.js';
import type { ResultMaps } from '../result/write-maps.js';

/**
 * Records in the maps of a window that a frame supplies these pixels by a person's choice. Depth becomes the frame's plane of focus,
 * except where the merge had found one nearer to it than to the planes beside it: that is finer. The pixel counts
 * as decided (confidence 1) and covered.
 *
 * @param supplied 1 where the frame supplies, shape (height, width) of the maps.
 */
export function supplyMaps(
  maps: ResultMaps,
  supplied: Uint8Array,
  number: number,
  frames: readonly RunFrame[],
): void {
  const plane = frames.find((frame) => frame.number === number)?.depth ?? Number.NaN;
  const planes = frames.flatMap(({ depth, number: other }) =>
    depth === null || other === number ? [] : [Math.abs(depth - plane)],
  );
  const near = Math.min(...planes) / 2;
  for (let i = 0; i < supplied.length; i++) {
    if (!supplied[i]) continue;
    maps.sources[i] = number;
    if (!(Math.abs(maps.depth[i] - plane) <= near)) maps.depth[i] = plane;
    maps.confidence[i] = 255;
    maps.coverage[i] = 0;
  }
}

/**
 * As `supplyMaps`, for what a rule merges: the depth and the sources of that merge. Where confidence and coverage are
 * not given with them, the pixel counts as decided and covered.
 */
export function supplyMerged(
  maps: ResultMaps,
  supplied: Uint8Array,
  merged: Pick<ResultMaps, 'depth' | 'sources'> & Partial<Pick<ResultMaps, 'confidence' | 'coverage'>>,
): void {
  for (let i = 0; i < supplied.length; i++) {
    if (!supplied[i]) continue;
    maps.sources[i] = merged.sources[i];
    maps.depth[i] = merged.depth[i];
    maps.confidence[i] = merged.confidence?.[i] ?? 255;
    maps.coverage[i] = merged.coverage?.[i] ?? 0;
  }
}

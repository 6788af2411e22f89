import type { RunFrame } from '../result/run-record.js';
import type { ResultMaps } from '../result/write-maps.js';
import type { PictureRegion } from '../trace/picture-region.js';

/**
 * Tells the maps that a frame supplies these pixels by a person's choice. Depth becomes the frame's plane of focus,
 * except where the merge had found one nearer to it than to the planes beside it: that is finer. The pixel counts
 * as decided (confidence 1) and covered.
 *
 * @param supplied 1 where the frame supplies, shape (height, width) of the window.
 */
export function supplyMaps(
  maps: ResultMaps,
  window: PictureRegion,
  supplied: Uint8Array,
  number: number,
  frames: readonly RunFrame[],
): void {
  const plane = frames.find((frame) => frame.number === number)?.depth ?? Number.NaN;
  const planes = frames.flatMap(({ depth, number: other }) =>
    depth === null || other === number ? [] : [Math.abs(depth - plane)],
  );
  const near = Math.min(...planes) / 2;
  for (let y = 0; y < window.height; y++) {
    for (let x = 0; x < window.width; x++) {
      if (!supplied[y * window.width + x]) continue;
      const at = (window.y + y) * maps.width + window.x + x;
      maps.sources[at] = number;
      if (!(Math.abs(maps.depth[at] - plane) <= near)) maps.depth[at] = plane;
      maps.confidence[at] = 255;
      maps.coverage[at] = 0;
    }
  }
}

import { median } from './median.js';
import type { PairLink } from './solve-stack.js';

/** Frames to either side that tell what is usual. */
const reach = 5;

/**
 * Sharpness of every frame against the frames around it: 1 is alike, well below is blurred or shaken.
 *
 * Links compare the fine contrast of the same places. On a rail it rises in some and falls in others, and where it
 * drifts on the whole, as at the ends of a stack, it does so from frame to frame: the drift of the links around that do
 * not touch the frame is taken off. A frame without links is judged by its own share of fine detail.
 */
export function relativeSharpness(
  frames: readonly { fineShare: number }[],
  links: readonly PairLink[],
): number[] {
  const known = links.filter(({ logContrast }) => Number.isFinite(logContrast));
  return frames.map(({ fineShare }, k) => {
    const own = known.filter(({ from, to }) => from === k || to === k);
    if (own.length > 0) {
      const around = known.filter(
        ({ from, to }) => from !== k && to !== k && Math.abs(from - k) <= reach && Math.abs(to - k) <= reach,
      );
      const drift = median(
        Float64Array.from(around, ({ from, to, logContrast }) => logContrast / (to - from)),
      );
      const gains = own.map(({ from, to, logContrast }) => {
        const beyond = logContrast - drift * (to - from);
        return to === k ? beyond : -beyond;
      });
      return Math.exp(middleMean(gains));
    }
    const shares = frames.slice(Math.max(0, k - reach), k + reach + 1).map((frame) => frame.fineShare);
    const typical = median(Float64Array.from(shares));
    return typical > 0 ? fineShare / typical : 1;
  });
}

/** Mean of the middle half: one neighbour that is itself shaken does not count. */
function middleMean(values: number[]): number {
  const sorted = [...values].sort((p, q) => p - q);
  const cut = Math.floor(sorted.length / 4);
  const kept = sorted.slice(cut, sorted.length - cut);
  return kept.reduce((sum, value) => sum + value, 0) / kept.length;
}

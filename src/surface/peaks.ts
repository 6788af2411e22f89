import { codesPerOctave, type FocusTracker, noiseBin } from '../focus/focus-tracker.js';

/** What the focus curves of one level say, pixel by pixel; arrays have shape (rows, cols) of the level. */
export interface PeakMaps {
  width: number;
  height: number;
  /** Sub-frame place of the peak in frame ordinals; NaN where nothing was measured. */
  place: Float32Array;
  /** Inverse variance of the place, 1/frame^2; 0 where the peak does not stand out of the noise. */
  weight: Float32Array;
  /** Peak over the noise floor, octaves of energy. */
  rise: Float32Array;
  /** Fall from the interpolated peak to the best frame, octaves. */
  fall: Float32Array;
}

/** Even a perfect curve places its peak no better than this, frames: steps are uneven, curves not Gaussian. */
const placeFloor = 0.1;
/** Bend of a focus curve at its peak where only one side is seen, octaves a frame squared. */
const usualBend = 0.5;
/** Effective number of independent samples in the window of the focus measure. */
const windowSamples = 6;

/** A second peak counts when it stands this far above noise, octaves. */
const secondRise = 1;
/**
 * Octaves by which the peak of each coarser level, finest first, speaks for the one of two peaks that it agrees
 * with: from a logistic regression on rendered scenes, then halved, which keeps hairs before a far texture.
 */
const votes = [0.6, 1, 0.8];
/** A coarser level speaks for a peak at most this far from its own, frames. */
const sameVote = 2;
/**
 * Octaves in favour of the farther of two peaks: about a sharp edge the window of the measure carries the nearer one
 * outward, while the farther one shows through a blurred edge only in part.
 */
const fartherVote = 1;
/** Weight of a peak that is known to the whole frame only, 1/frame^2. */
const wholeFrameWeight = 5;

/**
 * Peaks by parabola through the log measure of the best frame and its neighbours, which is the Gaussian
 * interpolation of Nayar & Nakagawa (PAMI 16(8), 1994), with the variance that the noise gives it.
 *
 * Beside depth edges a curve has two peaks: a sharp far texture shows through the blurred rim of what is before
 * it, and the window of the measure carries the rim's own detail outward. Which of them is the pixel's own, the
 * coarser levels know better: their windows reach beyond the blur.
 *
 * @param noiseCodes Code of the measure that noise alone reaches, by brightness.
 * @param coarser Maps of the coarser levels that have a say between two peaks, finest first; none = no vote.
 * @param nearSign 1 when nearer means a lower ordinal, -1 when higher, 0 when unknown.
 */
export function findPeaks(
  tracker: FocusTracker,
  level: number,
  noiseCodes: Float64Array,
  coarser: readonly PeakMaps[],
  nearSign: -1 | 0 | 1,
  out: PeakMaps,
): void {
  const { width, height, stride } = tracker.state[level];
  const best = tracker.plane(level, 'best');
  const before = tracker.plane(level, 'before');
  const after = tracker.plane(level, 'after');
  const ordinal = tracker.plane(level, 'bestOrdinal');
  const second = tracker.plane(level, 'second');
  const secondOrdinal = tracker.plane(level, 'secondOrdinal');
  const luma = tracker.plane(0, 'luma');
  const full = tracker.state[0];
  for (let y = 0; y < height; y++) {
    const lumaRow = Math.min(full.height - 1, y << level) * full.stride;
    for (let x = 0; x < width; x++) {
      const i = y * stride + x;
      const o = y * width + x;
      if (ordinal[i] === 0) {
        out.place[o] = Number.NaN;
        out.weight[o] = 0;
        out.rise[o] = 0;
        out.fall[o] = 0;
        continue;
      }
      const bin = noiseBin(luma[lumaRow + Math.min(full.width - 1, x << level)]);
      const rise = (best[i] - noiseCodes[bin]) / codesPerOctave;
      out.rise[o] = rise;
      const rival = secondOrdinal[i];
      const rivalRise = (second[i] - noiseCodes[bin]) / codesPerOctave;
      if (rival > 0 && coarser.length > 0 && rivalRise > secondRise) {
        let lead = rise - rivalRise + (rival > ordinal[i] ? -fartherVote : fartherVote) * nearSign;
        for (let c = 0; c < coarser.length; c++) {
          const maps = coarser[c];
          const q = (y >> (c + 1)) * maps.width + (x >> (c + 1));
          if (maps.weight[q] <= 0) continue;
          if (Math.abs(maps.place[q] - ordinal[i]) <= sameVote) lead += votes[c];
          else if (Math.abs(maps.place[q] - rival) <= sameVote) lead -= votes[c];
        }
        if (lead < 0) {
          out.place[o] = rival;
          out.rise[o] = rivalRise;
          out.fall[o] = 0;
          out.weight[o] = wholeFrameWeight;
          continue;
        }
      }
      const up = best[i] - before[i];
      const down = best[i] - after[i];
      let bend = (up + down) / codesPerOctave;
      let shift: number;
      if (before[i] > 0 && after[i] > 0) {
        shift = bend > 0 ? Math.max(-0.5, Math.min(0.5, (0.5 * (up - down)) / (up + down))) : 0;
      } else {
        // At the end of the stack one side is missing: a curve of the usual bend through the other two.
        bend = usualBend;
        const inner = (after[i] > 0 ? down : before[i] > 0 ? up : 0) / codesPerOctave;
        const outward = Math.max(-0.5, Math.min(2, inner / bend - 0.5));
        shift = after[i] > 0 ? -outward : before[i] > 0 ? outward : 0;
      }
      out.place[o] = ordinal[i] + shift;
      out.fall[o] = 0.5 * bend * shift * shift;
      if (rise <= 0) {
        out.weight[o] = 0;
        continue;
      }
      // Relative error of an energy S + N over n samples is about sqrt(4 S N + 2 N^2) / (S + N) / sqrt(n).
      const ratio = 2 ** rise - 1;
      const relative = Math.sqrt((4 * ratio + 2) / windowSamples) / (ratio + 1);
      const deviation = (relative * Math.LOG2E * Math.SQRT1_2) / Math.max(0.05, bend);
      out.weight[o] = 1 / (deviation * deviation + placeFloor * placeFloor);
    }
  }
}

export function takePeakMaps(width: number, height: number): PeakMaps {
  const cells = width * height;
  return {
    width,
    height,
    place: new Float32Array(cells),
    weight: new Float32Array(cells),
    rise: new Float32Array(cells),
    fall: new Float32Array(cells),
  };
}

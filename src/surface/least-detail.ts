import type { CurveBends } from '../focus/focus-curves.js';
import { clearOctaves } from '../model/constants/model.js';
import { codesPerOctave } from '../model/constants/state.js';
import { confirmedGradient } from '../model/constants/surface.js';

/** Code of a measure of 1 level squared, see assembly/focus.ts. */
const unitCode = 20 * codesPerOctave;

/**
 * Least energy of a single pixel that shows detail: the squares of its derivatives by Sobel's sums (3 x 3, [1 2 1] across), levels squared.
 * It stands clear of noise, beside the error of tones. White noise of variance v shows 24 v in these sums and 12 v in the focus measure,
 * where it is known.
 */
export function leastDetail(curves: Pick<CurveBends, 'noiseCodes'>): number {
  const noise = 2 ** ((Math.max(...curves.noiseCodes(0)) - unitCode) / codesPerOctave);
  return Math.round(confirmedGradient ** 2 + 2 ** clearOctaves * 2 * noise);
}

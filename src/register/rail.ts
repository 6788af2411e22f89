import { median, sigmaPerMad } from '../image/median.js';
import { minVisiblePx, sharpPx } from '../model/constants/register.js';
import type { Growth } from '../stack/focus-direction.js';
import type { CentredMotion } from './centred-motion.js';
import { inverseScales } from './step-priors.js';

/**
 * Scales as seen from the anchor's position. A step d of the rail enlarges what is sharp, at the distance u of focus,
 * by 1 + d / u in every pair, so along a chain of pairs scales grow like exp(x / u) with the travel x. Seen from one
 * position it is 1 + x / u: what is sharp in a frame lies at u + x from the anchor's lens. A hundredth of travel makes
 * 0.05 px at 1000 px from the middle, a tenth 5 px.
 *
 * A fixed camera with focus breathing has no such perspective. Where treating it as a rail would misalign neighbours
 * visibly, the pairs are kept as measured: over twenty frames from the anchor to the last, confusing the two costs ten times
 * as much there.
 */
export function seenFromAnchor(
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
): (CentredMotion | undefined)[] {
  const travels = motions.map((m) => (m ? -Math.log(Math.hypot(m.a, m.b)) : Number.NaN));
  const misfitPx = travels.map((x, k) => radiusPx * Math.abs(x * (x - (travels[k - 1] ?? x))));
  if (Math.max(0, ...misfitPx.filter(Number.isFinite)) > minVisiblePx) return [...motions];
  return motions.map((m, k) => {
    if (!m) return undefined;
    const factor = 1 / ((1 + travels[k]) * Math.hypot(m.a, m.b));
    return { ...m, a: factor * m.a, b: factor * m.b };
  });
}

interface ScaleLine {
  slope: number;
  at(k: number): number;
}

/** Straight line through 1/scale over the frame's index (median of slopes; Theil 1950, Sen 1968). */
function fitLine(motions: readonly (CentredMotion | undefined)[]): ScaleLine | undefined {
  const known = inverseScales(motions);
  if (known.length < 3) return undefined;
  const slopes = known.flatMap((one, i) =>
    known.slice(i + 1).map((other) => (other.inverse - one.inverse) / (other.k - one.k)),
  );
  const slope = median(Float64Array.from(slopes));
  const offset = median(Float64Array.from(known, ({ k, inverse }) => inverse - slope * k));
  return { slope, at: (k) => offset + slope * k };
}

/** Distance of every frame from the rail's line, in 1/scale; see `FrameMotion`. */
export function railResiduals(motions: readonly (CentredMotion | undefined)[]): number[] {
  const line = fitLine(motions);
  return motions.map((m, k) => (m && line ? 1 / Math.hypot(m.a, m.b) - line.at(k) : 0));
}

/**
 * Growth of the picture from frame to frame: 1/scale of frame -> anchor increases in capture order where the subject is
 * larger in each frame than in the one before, as when a rail moves the camera toward it. Undefined with fewer than
 * three aligned frames. Its error is that of a sum of steps with independent errors, and of one
 * that all steps share.
 */
export function measureGrowth(
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
): Growth | undefined {
  const line = fitLine(motions);
  if (!line) return undefined;
  const known = inverseScales(motions);
  const steps = known.slice(1).map(({ inverse }, i) => inverse - known[i].inverse);
  const apparent = sigmaPerMad * median(Float64Array.from(steps, (step) => Math.abs(step - line.slope)));
  const scatter = Math.max(apparent, sharpPx / radiusPx);
  return {
    perFrame: line.slope,
    sigma: Math.hypot(scatter / Math.sqrt(steps.length), sharpPx / radiusPx),
  };
}

import { effectiveFNumber, markedFNumber, numericalAperture } from '../optics/close-up.js';
import { airyDiameterUm, pixelLimitedFNumber } from '../optics/diffraction.js';
import { markedFNumberUpTo } from '../optics/f-stops.js';
import { frameCount, stepMm } from '../optics/stack-steps.js';
import { stopDown } from '../optics/units.js';
import { planDepth } from './depth.js';
import { isWider, type PlanLens } from './lens.js';
import type { PlanOptions } from './plan-options.js';
import type { PlanCircle } from './sensor.js';

/** An aperture and its consequences at the overlap of the plan. */
export interface ApertureEffect {
  /** Null for an objective. */
  markedFNumber: number | null;
  effectiveFNumber: number;
  airyPx: number;
  depthOfFieldMm: number;
  stepMm: number;
  frames: number;
}

/** One aperture among those to choose from. */
export interface ApertureChoice extends ApertureEffect {
  name: 'a stop wider' | 'best' | 'a stop narrower' | 'as planned';
  /** Frames more than at the best aperture (than as planned, where no lens reaches the best); negative for fewer. */
  framesMore: number;
}

/** The narrowest aperture whose Airy disc is no larger than two pixels: narrower loses detail, wider gains none. */
export interface BestAperture {
  effectiveFNumber: number;
  /** As computed, before it is rounded to one that lenses have; null for an objective. */
  markedFNumber: number | null;
  /** Whether the lens can have it: not wider than `widestFNumber`, or, where that is unknown, than any lens. */
  possible: boolean;
  /** Of the lens wide open, as marked; null when unknown. */
  widestFNumber: number | null;
  /**
   * The best (at an f-number that lenses have; the widest of the lens where it opens no further), a stop either way, and
   * that of the plan; only the latter with its neighbours where the best is not possible and the widest unknown.
   */
  choices: ApertureChoice[];
}

/** Stops beyond f/1 that some lenses still reach. */
const stopsBeyondOne = 0.5;

/** Null when the pixel pitch is unknown. */
export function bestAperture(
  lens: PlanLens,
  pixelPitchUm: number | null,
  circle: PlanCircle,
  options: PlanOptions,
): BestAperture | null {
  if (pixelPitchUm === null) return null;
  const { wavelengthNm } = options;
  const { magnification, pupilRatio } = lens;
  const effective = pixelLimitedFNumber(wavelengthNm, pixelPitchUm);
  const marked = lens.markedFNumber === null ? null : markedFNumber(effective, magnification, pupilRatio);
  const widest = marked === null ? null : (options.widestFNumber ?? null);
  const limited = marked === null ? effective : (markedFNumberUpTo(marked) ?? marked);
  const isOutOfReach = widest !== null && limited < widest;
  const start = isOutOfReach ? widest : limited;
  const at = (fNumber: number): PlanLens => lensAt(lens, fNumber);
  const neighbourOf = marked === null ? stopDown : neighbour;
  const isOpen =
    widest === null ? marked === null || marked > stopDown(1, -stopsBeyondOne) : !isWider(limited, widest);
  const hasBest = at(start).numericalAperture < 1 && (isOpen || isOutOfReach);
  const centre = hasBest ? start : (lens.markedFNumber ?? lens.effectiveFNumber);
  const candidates: { name: ApertureChoice['name']; lens: PlanLens }[] = [
    { name: 'a stop wider', lens: at(neighbourOf(centre, -1)) },
    hasBest ? { name: 'best', lens: at(start) } : { name: 'as planned', lens },
    { name: 'a stop narrower', lens: at(neighbourOf(centre, 1)) },
    ...(hasBest ? [{ name: 'as planned', lens } as const] : []),
  ];
  const choices = candidates
    .filter((choice) => choice.lens.numericalAperture < 1)
    .filter(({ lens: { markedFNumber: own } }) => widest === null || own === null || !isWider(own, widest))
    .map(({ name, lens: choice }): ApertureChoice => {
      const effect = apertureEffect(choice, pixelPitchUm, circle, options);
      return { name, ...effect, framesMore: 0 };
    });
  const reference = choices.find((choice) => choice.name === candidates[1].name);
  for (const choice of choices) choice.framesMore = choice.frames - (reference?.frames ?? 0);
  return {
    effectiveFNumber: effective,
    markedFNumber: marked,
    possible: hasBest && isOpen,
    widestFNumber: widest,
    choices,
  };
}

/** The lens at another aperture, by its marked f-number; an objective, which has none, by the effective one. */
export function lensAt(lens: PlanLens, fNumber: number): PlanLens {
  const { magnification, pupilRatio } = lens;
  const effective =
    lens.markedFNumber === null ? fNumber : effectiveFNumber(fNumber, magnification, pupilRatio);
  return {
    ...lens,
    markedFNumber: lens.markedFNumber === null ? null : fNumber,
    effectiveFNumber: effective,
    numericalAperture: numericalAperture(effective, magnification),
  };
}

/** What the aperture of a lens means for detail, depth and frames. */
export function apertureEffect(
  lens: PlanLens,
  pixelPitchUm: number,
  circle: PlanCircle,
  { wavelengthNm, overlapPercent, depthMm }: PlanOptions,
): ApertureEffect {
  const depthOfFieldMm = planDepth(lens, circle, wavelengthNm).combined.totalMm;
  const step = stepMm(depthOfFieldMm, overlapPercent / 100);
  return {
    markedFNumber: lens.markedFNumber,
    effectiveFNumber: lens.effectiveFNumber,
    airyPx: airyDiameterUm(wavelengthNm, lens.effectiveFNumber) / pixelPitchUm,
    depthOfFieldMm,
    stepMm: step,
    // The validation of the options guarantees that a stack has a depth.
    frames: frameCount(depthMm as number, step),
  };
}

/** The f-number on the lens a stop away, or the exact one beyond the ends of the scale. */
function neighbour(start: number, stops: number): number {
  const exact = stopDown(start, stops);
  // Marked numbers are rounded: a tolerance of a sixth of a stop finds the intended one.
  return markedFNumberUpTo(stopDown(exact, 1 / 6)) ?? exact;
}

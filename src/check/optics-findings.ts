import { effectiveFNumber, numericalAperture } from '../optics/close-up.js';
import { pixelsPerPeriod } from '../optics/diffraction.js';
import { stepMm as stepOfOverlap } from '../optics/stack-steps.js';
import { planDepth } from '../plan/depth.js';
import { defaultOverlapPercent, defaultWavelengthNm } from '../plan/option-table.js';
import type { Finding } from '../result/finding.js';
import { shortNumber } from '../result/report/numbers.js';
import type { FrameExif } from '../stack/frame.js';
import type { CheckOptions } from './check-options.js';
import { lengthText } from './rail-scale.js';

/**
 * Compares the step with that of a plan by its defaults and even pupils, where magnification, pixel pitch and f-number are known. The f-number of the
 * EXIF is taken as the one marked on the lens.
 */
export function opticsFindings(
  options: { [Key in 'magnification' | 'pixelPitchUm' | 'stepMm']?: CheckOptions[Key] | undefined },
  exif: FrameExif,
): Finding[] {
  const { magnification, pixelPitchUm, stepMm } = options;
  const { fNumber } = exif;
  if (magnification === undefined || pixelPitchUm === undefined || fNumber === undefined) return [];
  const effective = effectiveFNumber(fNumber, magnification, 1);
  const circle = { mm: (pixelsPerPeriod * pixelPitchUm) / 1000, from: 'two pixels' };
  const depth = planDepth(
    {
      magnification,
      focalLengthMm: null,
      pupilRatio: 1,
      markedFNumber: fNumber,
      effectiveFNumber: effective,
      numericalAperture: numericalAperture(effective, magnification),
    },
    circle,
    defaultWavelengthNm,
  );
  const depthMm = depth.combined.totalMm;
  const recommended = stepOfOverlap(depthMm, defaultOverlapPercent / 100);
  const reckoned = `At ${magnification} x and f/${fNumber} one frame is sharp over ${lengthText(depthMm)} by reckoning`;
  if (stepMm !== undefined && stepMm > depthMm) {
    return [
      {
        kind: 'optics',
        rank: 'flaw',
        frames: [],
        message: `${reckoned}, less than the step of ${lengthText(stepMm)}.`,
        advice: `By the plan a step of ${lengthText(recommended)} leaves no gaps. Where your lens is softer than a perfect one, trust what the frames show.`,
        neededStepMm: recommended,
      },
    ];
  }
  return [
    {
      kind: 'optics',
      rank: 'note',
      frames: [],
      message: `${reckoned}; the plan would step ${lengthText(recommended)}${stepMm === undefined ? '' : `, and the step of ${lengthText(stepMm)} is ${shortNumber(stepMm / recommended, 2)} times that`}.`,
      advice: '',
    },
  ];
}

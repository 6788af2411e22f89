import { named, UsageError } from '../errors.js';
import { optionName } from '../option-names.js';
import { requireBeside } from '../options/validate-options.js';
import type { DepthUnit, RunRecord } from '../result/run-record.js';
import { perspectiveOf } from './perspective.js';
import { resolveScaleOptions, type ScaleOptions } from './scale-options.js';

/** Unit of the lengths that a relief is measured in: pixels at the anchor's plane of focus where no mm are known. */
export type LengthUnit = 'mm' | 'px';

/** What turns pixels of a composite and values of depth.tif into lengths. */
export interface ResultScale {
  /** Side of a pixel at the anchor's plane of focus, mm; undefined: unknown. */
  mmPerPixel: number | undefined;
  /** Millimetres of one unit of depth.tif; undefined: unknown. */
  mmPerDepth: number | undefined;
  /** Unit of depth.tif, which `growth` and every `depth` below count in. */
  depthUnit: DepthUnit;
  /** Composite pixel on the lens axis: the middle of the anchor's frame, which may lie outside of a cropped picture. */
  centre: { x: number; y: number };
  /** Relative growth of a pixel's side per unit of depth.tif, away from the camera; see `Perspective`. */
  growth: number;
  growthSigma: number;
  /** Frames' usual distance in units of depth.tif. */
  stepDepth: number;
  /** Whether the direction is known, without which depth may be inside out. */
  knowsNear: boolean;
  /** Plain sentences on what is not known. */
  notes: string[];
}

/**
 * The scale of a result, from what the merge was given and what is given now.
 *
 * @param given Takes the place of what the merge was given: a field width or a magnification and a pixel pitch, of which
 *   one may come from the merge, and a step.
 * @throws UsageError for options that contradict each other, or a step for depth that positions gave in mm.
 */
export function resultScale(record: RunRecord, given: Partial<ScaleOptions> = {}): ResultScale {
  const options = resolveScaleOptions(given);
  const { crop, frameSize, maps } = record;
  const mmPerPixel = pixelSide(record, options);
  const mmPerDepth = depthSide(record, options.stepMm);
  const { growth, sigma, note } = perspectiveOf(record);
  const notes: string[] = [];
  if (mmPerPixel === undefined) {
    notes.push(
      `The size of a pixel on the subject is not known, so lengths across are in pixels: give ${optionName('fieldWidthMm')}, or ${optionName('magnification')} and ${optionName('pixelPitchUm')}.`,
    );
  }
  if (mmPerDepth === undefined) {
    notes.push(`The step of the rail is not known, so depth is in steps: give ${optionName('stepMm')}.`);
  }
  if (record.direction === 'unknown') {
    notes.push(
      `Which end of the stack is near is not known: if it is that of the last frame, near and far are swapped. Merge again with ${optionName('direction')} to be sure.`,
    );
  }
  if (note !== undefined) notes.push(note);
  return {
    mmPerPixel,
    mmPerDepth,
    depthUnit: maps.depth.unit,
    centre: { x: (frameSize.width - 1) / 2 - crop.x, y: (frameSize.height - 1) / 2 - crop.y },
    growth,
    growthSigma: sigma,
    stepDepth: usualStep(record),
    knowsNear: record.direction !== 'unknown',
    notes,
  };
}

/** Whether all lengths of a relief are known in mm. */
export function isMetric(
  scale: ResultScale,
): scale is ResultScale & { mmPerPixel: number; mmPerDepth: number } {
  return scale.mmPerPixel !== undefined && scale.mmPerDepth !== undefined;
}

/**
 * Side of a composite pixel at a depth, relative to its side at the anchor's plane of focus; greater where far.
 *
 * @param growth Stands in for that of the scale where its error is asked for.
 */
export function relativeSide(scale: ResultScale, depth: number, growth = scale.growth): number {
  return 1 + growth * depth;
}

/**
 * A point of the subject, from the place where the lens axis meets the anchor's plane of focus: x right, y down,
 * z away from the camera.
 *
 * @param lengths Of a pixel there, and of a unit of depth.tif.
 * @param x, y Composite pixel; pixel centres at integers.
 * @param depth In the unit of depth.tif.
 * @param growth See `relativeSide`.
 */
export function spacePoint(
  scale: ResultScale,
  lengths: { perPixel: number; perDepth: number },
  x: number,
  y: number,
  depth: number,
  growth?: number,
): [x: number, y: number, z: number] {
  const side = lengths.perPixel * relativeSide(scale, depth, growth);
  return [(x - scale.centre.x) * side, (y - scale.centre.y) * side, depth * lengths.perDepth];
}

function pixelSide(record: RunRecord, given: Partial<ScaleOptions>): number | undefined {
  if (given.fieldWidthMm !== undefined) return given.fieldWidthMm / record.frameSize.width;
  if (given.magnification === undefined && given.pixelPitchUm === undefined) return record.mmPerPixel;
  const { magnification, pixelPitchUm } = record.options;
  const lens = {
    ...(magnification !== undefined && { magnification }),
    ...(pixelPitchUm !== undefined && { pixelPitchUm }),
    ...given,
  };
  requireBeside(lens, 'magnification', 'pixelPitchUm');
  requireBeside(lens, 'pixelPitchUm', 'magnification');
  return lens.pixelPitchUm! / 1000 / lens.magnification!;
}

function depthSide(record: RunRecord, stepMm: number | undefined): number | undefined {
  const isMm = record.maps.depth.unit === 'mm';
  if (stepMm === undefined) return isMm ? 1 : undefined;
  if (!isMm) return stepMm;
  if (record.stepMm === undefined || record.stepMm === 0) {
    throw new UsageError(
      `The depth of this result comes from the positions of its frames, in mm: leave ${named('stepMm')} out.`,
    );
  }
  return stepMm / record.stepMm;
}

/** Median distance of neighbouring planes of focus; of a stack without two of them, one step. */
function usualStep({ frames, stepMm }: RunRecord): number {
  const planes = frames.flatMap(({ used, depth }) => (used && depth !== null ? [depth] : []));
  const steps = planes.slice(1).map((depth, i) => Math.abs(depth - planes[i]));
  const positive = steps.filter((step) => step > 0).sort((first, second) => first - second);
  return positive[positive.length >> 1] ?? stepMm ?? 1;
}

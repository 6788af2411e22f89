import { type ResultScale, relativeSide } from '../relief/scale.js';
import type { RunRecord } from '../result/run-record.js';

/** Sizes of a picture on the subject, the sensor and paper. */
export interface Magnifications {
  /** Side of a pixel at the anchor's plane of focus; null: unknown. */
  mmPerPixel: number | null;
  /** Width of the picture on the subject there. */
  widthMm: number | null;
  /** Size on the sensor over size of the subject. */
  onSensor: number | null;
  /** Size on a print of the given width over size of the subject. */
  onPrint: number | null;
  /** Relative difference of pixel sides at the nearest and farthest depth: how far a bar drawn at one depth is off at another. */
  sideRange: number | null;
}

/**
 * @param sensorWidthMm Width of the sensor, where no magnification was given.
 * @param printWidthMm Width of the whole picture on paper.
 */
export function magnificationsOf(
  record: RunRecord,
  scale: ResultScale,
  given: {
    magnification?: number | undefined;
    sensorWidthMm?: number | undefined;
    printWidthMm?: number | undefined;
  },
): Magnifications {
  const { mmPerPixel } = scale;
  const { size, frameSize, maps, options } = record;
  const fieldMm = mmPerPixel === undefined ? undefined : mmPerPixel * frameSize.width;
  const bySensor =
    fieldMm !== undefined && given.sensorWidthMm !== undefined ? given.sensorWidthMm / fieldMm : undefined;
  const widthMm = mmPerPixel === undefined ? undefined : mmPerPixel * size.width;
  const { min, max } = maps.depth;
  return {
    mmPerPixel: mmPerPixel ?? null,
    widthMm: widthMm ?? null,
    onSensor: bySensor ?? given.magnification ?? options.magnification ?? null,
    onPrint: widthMm !== undefined && given.printWidthMm !== undefined ? given.printWidthMm / widthMm : null,
    sideRange:
      min === null || max === null ? null : Math.abs(relativeSide(scale, max) / relativeSide(scale, min) - 1),
  };
}

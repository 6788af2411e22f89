import type { PlanOptions } from './plan-options.js';
import type { PlanSensor } from './sensor.js';

/** Time and disk space that the frames take. */
export interface PlanEffort {
  /** Settling and exposing all frames; null when neither time was given. */
  timeS: number | null;
  /** Uncompressed 16-bit TIFF, as a merge reads them best; null when the pixels are unknown. */
  tiff16Bytes: number | null;
  /** Raw files of 14 bits a pixel without compression: about the maximum that a camera writes. */
  rawBytes: number | null;
}

const tiff16BytesPerPixel = 6;
/** 14 bits. */
const rawBytesPerPixel = 1.75;

export function effortOf(
  frames: number,
  sensor: PlanSensor,
  { settleS, exposureS }: Pick<PlanOptions, 'settleS' | 'exposureS'>,
): PlanEffort {
  const pixels = sensor.columns === null || sensor.rows === null ? null : sensor.columns * sensor.rows;
  return {
    timeS:
      settleS === undefined && exposureS === undefined ? null : frames * ((settleS ?? 0) + (exposureS ?? 0)),
    tiff16Bytes: pixels === null ? null : frames * pixels * tiff16BytesPerPixel,
    rawBytes: pixels === null ? null : frames * pixels * rawBytesPerPixel,
  };
}

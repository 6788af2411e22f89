import { named, UsageError } from '../errors.js';
import { pixelsPerPeriod } from '../optics/diffraction.js';
import { conventionalCircleMm, findSensorFormat } from '../optics/sensor-formats.js';
import { convertLength } from '../optics/units.js';
import { optionName } from '../option-names.js';
import type { PlanOptions, SensorSize } from './plan-options.js';

/** The sensor of a plan; null where it was not given. */
export interface PlanSensor {
  widthMm: number | null;
  heightMm: number | null;
  /** Pixels across and down. */
  columns: number | null;
  rows: number | null;
  pixelPitchUm: number | null;
}

/** The largest blur that counts as sharp, on the sensor, and its origin. */
export interface PlanCircle {
  mm: number;
  from: string;
}

/** Tolerated deviation of pixels from squares, as a share. */
const squareTolerance = 0.03;

/** Sensor and circle of confusion from the options. Throws UsageError where the circle cannot be derived. */
export function resolveSensor(options: PlanOptions): {
  sensor: PlanSensor;
  circle: PlanCircle;
  warnings: string[];
} {
  const size = sizeOf(options.sensor);
  const sensor = withPixels(size, options);
  const warnings: string[] = [];
  if (size && typeof options.pixels === 'object') {
    const stretch = size.widthMm / options.pixels.width / (size.heightMm / options.pixels.height);
    if (Math.abs(Math.log(stretch)) > squareTolerance) {
      const { width, height } = options.pixels;
      warnings.push(
        `${width} x ${height} pixels on ${size.widthMm} x ${size.heightMm} mm are not square: ` +
          `check ${optionName('pixels')} and ${optionName('sensor')}; the plan goes by the width.`,
      );
    }
  }
  return { sensor, circle: circleOf(options, sensor), warnings };
}

function sizeOf(sensor: PlanOptions['sensor']): SensorSize | undefined {
  return typeof sensor === 'string' ? findSensorFormat(sensor) : sensor;
}

function withPixels(size: SensorSize | undefined, options: PlanOptions): PlanSensor {
  const { pixels } = options;
  const widthMm = size?.widthMm ?? null;
  const heightMm = size?.heightMm ?? null;
  if (typeof pixels === 'object') {
    const pitch = widthMm === null ? null : convertLength(widthMm / pixels.width, 'mm', 'um');
    return { widthMm, heightMm, columns: pixels.width, rows: pixels.height, pixelPitchUm: pitch };
  }
  if (!size) {
    return { widthMm, heightMm, columns: null, rows: null, pixelPitchUm: options.pixelPitchUm ?? null };
  }
  const pitchMm =
    pixels === undefined
      ? options.pixelPitchUm && convertLength(options.pixelPitchUm, 'um', 'mm')
      : Math.sqrt((size.widthMm * size.heightMm) / pixels);
  if (pitchMm === undefined) return { widthMm, heightMm, columns: null, rows: null, pixelPitchUm: null };
  return {
    widthMm,
    heightMm,
    columns: Math.round(size.widthMm / pitchMm),
    rows: Math.round(size.heightMm / pitchMm),
    pixelPitchUm: convertLength(pitchMm, 'mm', 'um'),
  };
}

function circleOf(options: PlanOptions, sensor: PlanSensor): PlanCircle {
  const { circle } = options;
  if (typeof circle === 'number') return { mm: circle, from: 'as given' };
  if (circle === 'pixel') {
    if (sensor.pixelPitchUm === null) {
      throw new UsageError(
        `Expected ${named('pixels')} (with ${named('sensor')}) or ${named('pixelPitchUm')}, from which the circle of confusion follows, ` +
          `or ${named('circle')}, but received none of them.`,
      );
    }
    return { mm: (pixelsPerPeriod * sensor.pixelPitchUm) / 1000, from: 'two pixels' };
  }
  const format = findSensorFormat(
    circle === 'format' && typeof options.sensor === 'string' ? options.sensor : circle,
  );
  if (format) return { mm: format.circleMm, from: `convention for ${format.name}` };
  if (sensor.widthMm === null || sensor.heightMm === null) {
    throw new UsageError(`Expected ${named('sensor')} beside ${named('circle')} format but received none.`);
  }
  return { mm: conventionalCircleMm(sensor.widthMm, sensor.heightMm), from: 'diagonal of the sensor / 1500' };
}

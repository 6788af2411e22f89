import type { Size } from '../../image/image.js';
import type { LibRawMetadata } from './libraw.js';
import type { SensorCrop } from './raw-jobs.js';

/** A camera means at least this share of the sensor's active area to be seen, by each side. */
const minCropShare = 0.5;

/** Size of the active area as it lies on the sensor. LibRaw turns the sides for three of the four transposed cases. */
export function sensorSize({ width, height, flip }: LibRawMetadata): Size {
  const isTurned = flip === 5 || flip === 6 || flip === 7;
  return isTurned ? { width: height, height: width } : { width, height };
}

/**
 * The part of the active area that the camera means to be seen (the default crop of the DNG specification, or what
 * LibRaw knows of the camera); all of it where neither says anything that makes sense.
 */
export function sensorCrop(metadata: LibRawMetadata): SensorCrop {
  const { width, height } = sensorSize(metadata);
  const whole = { left: 0, top: 0, width, height };
  const [inset] = metadata.raw_inset_crops;
  if (!inset) return whole;
  const crop = {
    left: inset.cleft - metadata.left_margin,
    top: inset.ctop - metadata.top_margin,
    width: inset.cwidth,
    height: inset.cheight,
  };
  const isInside =
    crop.left >= 0 && crop.top >= 0 && crop.left + crop.width <= width && crop.top + crop.height <= height;
  const isLarge = crop.width >= minCropShare * width && crop.height >= minCropShare * height;
  return isInside && isLarge ? crop : whole;
}

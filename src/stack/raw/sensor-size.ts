import type { Size } from '../../image/image.js';
import type { LibRawMetadata } from './libraw.js';
import type { SensorCrop } from './raw-jobs.js';

/** Minimum share of the active area's width and height in a default crop: a smaller one is taken for an error. */
const minCropShare = 0.5;

/** Size of the active area as it lies on the sensor. LibRaw turns the sides for three of the four transposed cases. */
export function sensorSize({ width, height, flip }: LibRawMetadata): Size {
  const isTurned = flip === 5 || flip === 6 || flip === 7;
  return isTurned ? { width: height, height: width } : { width, height };
}

/**
 * The default crop of the active area: that of the DNG specification, or what LibRaw knows of the camera; all of the area
 * where neither gives one that is plausible.
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

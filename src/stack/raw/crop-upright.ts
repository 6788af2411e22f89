import type { DevelopedPixels, SensorCrop } from './raw-jobs.js';

/**
 * Where a rectangle of the sensor lies in the picture that was turned upright.
 *
 * @param width Of the upright picture.
 * @param flip What LibRaw did to the sensor's picture. Bits: 1 mirrored left to right, 2 upside down, 4 then transposed.
 */
function uprightCrop(crop: SensorCrop, width: number, height: number, flip: number): SensorCrop {
  const isTransposed = (flip & 4) !== 0;
  const sensor = isTransposed ? { width: height, height: width } : { width, height };
  const left = (flip & 1) !== 0 ? sensor.width - crop.left - crop.width : crop.left;
  const top = (flip & 2) !== 0 ? sensor.height - crop.top - crop.height : crop.top;
  return isTransposed
    ? { left: top, top: left, width: crop.height, height: crop.width }
    : { ...crop, left, top };
}

/** The part of an upright picture that shows a rectangle of the sensor. */
export function cropUpright(picture: DevelopedPixels, crop: SensorCrop, flip: number): DevelopedPixels {
  const { width, height, channels, samples } = picture;
  const part = uprightCrop(crop, width, height, flip);
  if (part.width === width && part.height === height) return picture;
  const row = part.width * channels;
  const cut = new Uint16Array(row * part.height);
  for (let y = 0; y < part.height; y++) {
    const start = ((part.top + y) * width + part.left) * channels;
    cut.set(samples.subarray(start, start + row), y * row);
  }
  return { width: part.width, height: part.height, channels, samples: cut };
}

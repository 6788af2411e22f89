import type { Size } from '../image/image.js';
import type { Shrink } from '../stack/decode.js';

/** Least pixels of the picture that motion is measured on: a finer one places a frame no better. */
const registrationPixels = 1.2e6;
/** The same for a preview, whose pixels are that much larger: as a stack of so small frames is registered. */
const previewPixels = 0.3e6;

/** The largest reduction, per side, that leaves enough pixels to register by. */
export function registrationShrink({ width, height }: Size, isPreview = false): Shrink {
  const shrinks: Shrink[] = [8, 4, 2];
  const pixels = isPreview ? previewPixels : registrationPixels;
  return shrinks.find((shrink) => (width * height) / (shrink * shrink) >= pixels) ?? 1;
}

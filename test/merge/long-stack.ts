import { join } from 'node:path';
import sharp from 'sharp';
import { seededRandom } from '../outside/seeded-random.js';

export const longSize = { width: 64, height: 64 };
export const patchPx = 16;
const patchesAcross = longSize.width / patchPx;
const patches = patchesAcross ** 2;
/** Frames over which a patch comes into focus and goes out again: standard deviation of its contrast. */
const sigmaFrames = 3;

/** Frame, from 1, in which a patch is sharp: evenly spread from near the first frame to near the last. */
export function sharpFrame(patch: number, frames: number): number {
  return Math.round(4 + (patch * (frames - 7)) / (patches - 1));
}

/** Centre of each patch of the picture, px. */
export const patchCentres = Array.from({ length: patches }, (_, patch) => ({
  patch,
  x: patchPx * (patch % patchesAcross) + patchPx / 2,
  y: patchPx * Math.floor(patch / patchesAcross) + patchPx / 2,
}));

/** What is sharp at each pixel, about mid-grey: -80 to 80. */
export function longTexture(): Float32Array {
  const random = seededRandom(11);
  return Float32Array.from({ length: longSize.width * longSize.height }, () => 160 * (random() - 0.5));
}

/**
 * Writes a stack of many tiny frames: a board of patches of texture, each sharp in a frame of its own, in all others its
 * mean with a little noise. Names sort in capture order.
 */
export async function writeLongStack(folder: string, frames: number): Promise<void> {
  const random = seededRandom(12);
  const { width, height } = longSize;
  const texture = longTexture();
  const noise = Float32Array.from({ length: 1 << 15 }, () => 3 * (random() - 0.5));
  const write = async (frame: number) => {
    const contrasts = patchCentres.map(({ patch }) =>
      Math.exp(-(((frame - sharpFrame(patch, frames)) / sigmaFrames) ** 2) / 2),
    );
    const pixels = Uint8Array.from(texture, (detail, i) => {
      const patch = Math.floor(i / width / patchPx) * patchesAcross + Math.floor((i % width) / patchPx);
      return Math.round(128 + detail * contrasts[patch] + noise[(i + 7919 * frame) % noise.length]);
    });
    const name = `frame-${String(frame).padStart(4, '0')}.png`;
    await sharp(pixels, { raw: { width, height, channels: 1 } })
      .png({ compressionLevel: 1 })
      .toFile(join(folder, name));
  };
  for (let first = 1; first <= frames; first += 50) {
    const some = Array.from({ length: Math.min(50, frames + 1 - first) }, (_, i) => write(first + i));
    await Promise.all(some);
  }
}

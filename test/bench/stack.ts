import { existsSync } from 'node:fs';
import { mkdir, rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import type { Size } from '../../src/image/image.js';
import { seededRandom } from '../outside/seeded-random.js';

/** Room around the frames for their shifts, px. */
const margin = 32;
/** Bytes of frames that are encoded at once. */
const encodedBytes = 600e6;
/** Deviation of the Gaussian blur of the pictures that a frame is mixed from, px; 0 is in focus. */
const blurs = [0, 2.5, 8];
/** Distance from the band in focus at which a frame shows each of `blurs`, bands. */
const distances = [0.6, 1.6, 4];

/**
 * Folders of frames of one textured picture in `cache`, one per length: JPEG files of quality 90, or plain TIFF of 16 bits. Frame k of n shows
 * the k-th of n horizontal bands in focus, blur growing away from it, shifted by a few whole pixels. A stack
 * made before is kept: the pictures follow from the seed, the size and the length alone.
 */
export async function makeStacks(
  cache: string,
  size: Size,
  lengths: readonly number[],
  bits: 8 | 16 = 8,
): Promise<string[]> {
  const kind = bits === 8 ? '' : '-16bit';
  const folders = lengths.map((frames) => join(cache, `${size.width}x${size.height}-${frames}${kind}`));
  if (folders.every((folder) => existsSync(folder))) return folders;
  const wide = { width: size.width + 2 * margin, height: size.height + 2 * margin };
  const layers = await renderLayers(wide);
  for (const [i, folder] of folders.entries()) {
    if (existsSync(folder)) continue;
    const unfinished = `${folder}.part`;
    await rm(unfinished, { recursive: true, force: true });
    await mkdir(unfinished, { recursive: true });
    // The next frame is mixed while those before it are encoded.
    const encoding: Promise<void>[] = [];
    const atOnce = Math.max(1, Math.floor(encodedBytes / (size.width * size.height * 3 * (bits / 8))));
    for (let frame = 0; frame < lengths[i]; frame++) {
      const name = `frame-${String(frame + 1).padStart(3, '0')}.${bits === 8 ? 'jpg' : 'tif'}`;
      encoding.push(writeFrame(join(unfinished, name), bits, layers, wide, frame, lengths[i]));
      if (encoding.length >= atOnce) await encoding[encoding.length - atOnce];
    }
    await Promise.all(encoding);
    await rename(unfinished, folder);
  }
  return folders;
}

/** The picture under each of `blurs`, interleaved RGB of 8 bits. */
async function renderLayers(size: Size): Promise<Uint8Array[]> {
  const coarse = await enlargedNoise(size, 60, 1);
  const fine = await enlargedNoise(size, 5, 2);
  const random = seededRandom(3);
  const picture = new Uint8Array(coarse.length);
  for (let i = 0; i < picture.length; i++) {
    picture[i] = 20 + coarse[i] * 0.45 + fine[i] * 0.3 + random() * 24;
  }
  const raw = { ...size, channels: 3 as const };
  const layers: Uint8Array[] = [];
  for (const blur of blurs) {
    layers.push(blur === 0 ? picture : await sharp(picture, { raw }).blur(blur).raw().toBuffer());
  }
  return layers;
}

/** Even noise of one value a `cell` px, enlarged to the size. */
async function enlargedNoise(size: Size, cell: number, seed: number): Promise<Uint8Array> {
  const random = seededRandom(seed);
  const width = Math.ceil(size.width / cell);
  const height = Math.ceil(size.height / cell);
  const small = Uint8Array.from({ length: width * height * 3 }, () => random() * 256);
  const { data } = await sharp(small, { raw: { width, height, channels: 3 } })
    .resize(size.width, size.height, { fit: 'fill', kernel: 'cubic' })
    .raw()
    .toBuffer({ resolveWithObject: true });
  return data;
}

async function writeFrame(
  file: string,
  bits: 8 | 16,
  layers: readonly Uint8Array[],
  size: Size,
  frame: number,
  frames: number,
): Promise<void> {
  const width = size.width - 2 * margin;
  const height = size.height - 2 * margin;
  const random = seededRandom(100 + frame);
  const left = margin + Math.round((random() - 0.5) * margin);
  const top = margin + Math.round((random() - 0.5) * margin);
  const rowBytes = width * 3;
  const pixels = new Uint8Array(rowBytes * height);
  for (let y = 0; y < height; y++) {
    const from = ((top + y) * size.width + left) * 3;
    // Bands lie in the subject, not in the frame: the row before the shift counts.
    const distance = Math.abs(((top + y - margin) / height) * frames - frame - 0.5);
    const { layer, share } = mixAt(distance);
    const near = layers[layer].subarray(from, from + rowBytes);
    if (share === 0) {
      pixels.set(near, y * rowBytes);
      continue;
    }
    const far = layers[layer + 1];
    const at = y * rowBytes;
    for (let i = 0; i < rowBytes; i++) pixels[at + i] = near[i] + (far[from + i] - near[i]) * share + 0.5;
  }
  const picture = sharp(pixels, { raw: { width, height, channels: 3 } });
  const coded =
    bits === 8 ? picture.jpeg({ quality: 90 }) : picture.toColourspace('rgb16').tiff({ compression: 'none' });
  await coded.toFile(file);
}

/** Which layer a row shows at this distance from the band in focus, and the share of the next one in it. */
function mixAt(distance: number): { layer: number; share: number } {
  if (distance <= distances[0]) return { layer: 0, share: 0 };
  for (let i = 1; i < distances.length; i++) {
    if (distance < distances[i]) {
      return { layer: i - 1, share: (distance - distances[i - 1]) / (distances[i] - distances[i - 1]) };
    }
  }
  return { layer: distances.length - 1, share: 0 };
}

import { discMean, drawPadded } from '../blend/disc-mean.js';
import { randomFrom } from '../kernels/kernel-rig.js';

/** So high that it takes four bands: they begin at multiples of 256 rows, where a strip of 32 rows begins at each of four levels. */
export const bandedSize = { width: 120, height: 780 };
export const bandedCount = 7;
const blurPx = 1.7;

/** Where the ground, a leaf and hairs before it are in focus, by ordinal. */
const groundAt = (_x: number, y: number) => 3.5 + 3 * Math.sin(y / 60);
const [leafAt, hairAt] = [3, 1.5];
const ground = (x: number, y: number) =>
  90 +
  30 * Math.sin(1.9 * x + 2 * Math.sin(0.31 * y)) * Math.cos(1.7 * y + 1.3 * Math.sin(0.27 * x)) +
  16 * Math.sin(0.5 * x - 0.4 * y) * (Math.sin(y / 37) > -0.4 ? 1 : 0);
/** Leaves that lie across the borders of bands, smooth but for their rims, and hairs from top to bottom. */
const inLeaf = (x: number, y: number) => Number(Math.hypot(x - 60, (y % 256) - 10) < 45 && y > 100);
const leaf = (x: number, y: number) => 190 + 20 * Math.sin(0.08 * x + 0.05 * y);
const inHair = (x: number, y: number) => Math.max(0, Math.min(1, 1.5 - Math.abs(((x + 0.35 * y) % 60) - 30)));

/** A frame of a stack with depth edges, hairs and hot pixels all along its height, interleaved RGB. */
export function drawBandedFrame(ordinal: number, bits: 8 | 16): Uint8Array | Uint16Array {
  const pad = Math.ceil(blurPx * bandedCount);
  const random = randomFrom(ordinal);
  const blur = (at: number) => blurPx * Math.abs(ordinal - at);
  // The depth of the ground changes slowly: each row is taken from the blur that is nearest to its own.
  const drawn = drawPadded(bandedSize, pad, ground);
  const grounds = Array.from({ length: 13 }, (_, i) => discMean(drawn, i));
  const leaves = discMean(drawPadded(bandedSize, pad, inLeaf), blur(leafAt));
  const hairs = discMean(drawPadded(bandedSize, pad, inHair), blur(hairAt));
  const samples =
    bits === 8
      ? new Uint8Array(bandedSize.width * bandedSize.height * 3)
      : new Uint16Array(bandedSize.width * bandedSize.height * 3);
  const unit = bits === 8 ? 1 : 257;
  for (let y = 0, i = 0; y < bandedSize.height; y++) {
    for (let x = 0; x < bandedSize.width; x++, i++) {
      const behind = grounds[Math.min(12, Math.round(blur(groundAt(x, y))))][i];
      const middle = leaves[i] * leaf(x, y) + (1 - leaves[i]) * behind;
      const tone = hairs[i] * 225 + (1 - hairs[i]) * middle + 2 * (random() + random() - 1);
      for (let c = 0; c < 3; c++) samples[3 * i + c] = Math.round(unit * (tone - 7 * c));
    }
  }
  // Defects of the sensor, at the same pixel in every frame, about the borders of bands.
  for (const [x, y] of [
    [40, 255],
    [70, 256],
    [44, 258],
    [90, 511],
    [20, 100],
  ]) {
    samples.fill(250 * unit, 3 * (y * bandedSize.width + x), 3 * (y * bandedSize.width + x) + 3);
  }
  return samples;
}

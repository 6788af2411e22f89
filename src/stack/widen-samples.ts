import type { PixelData } from '../image/image.js';

/**
 * Samples (rows, cols, fromChannels) as (rows, cols, toChannels) of `toBits`, without loss: grey is
 * repeated, 8 bits become 16 by x257, which maps 0 to 0 and 255 to 65535. Returns the input where nothing
 * changes. Needs toChannels >= fromChannels and toBits >= the bits of the samples.
 */
export function widenSamples(
  samples: PixelData,
  fromChannels: 1 | 3,
  toChannels: 1 | 3,
  toBits: 8 | 16,
): PixelData {
  const factor = toBits === 16 && samples instanceof Uint8Array ? 257 : 1;
  if (factor === 1 && fromChannels === toChannels) return samples;
  const repeat = toChannels / fromChannels;
  const wide =
    toBits === 16 ? new Uint16Array(samples.length * repeat) : new Uint8Array(samples.length * repeat);
  if (repeat === 1) {
    for (let i = 0; i < samples.length; i++) wide[i] = samples[i] * factor;
    return wide;
  }
  for (let i = 0, out = 0; i < samples.length; i++, out += 3) {
    const value = samples[i] * factor;
    wide[out] = value;
    wide[out + 1] = value;
    wide[out + 2] = value;
  }
  return wide;
}

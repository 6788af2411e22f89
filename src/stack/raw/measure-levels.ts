import type { LibRawFile } from './libraw.js';
import type { RawLevels } from './raw-jobs.js';

/** Filters of a Bayer mosaic are coded by more than this; those of other mosaics by small numbers. */
const minBayerCode = 1000;
/** Samples that are compared at each place of the mosaic, spread over the picture. */
const comparedSamples = 400;

/**
 * Black and white level of a file as LibRaw finds them, for some cameras in the masked pixels beside the picture. It
 * does not report the black levels of the four positions of a mosaic: they are measured as what it subtracts there.
 */
export function measureLevels(file: LibRawFile, bytes: Uint8Array): RawLevels {
  file.open(bytes, {
    ...{ outputBps: 16, noAutoBright: true, adjustMaximumThr: 0, bright: 1, userFlip: 0 },
    // Samples as they are, black taken off, on a straight line.
    ...{ noAutoScale: true, noInterpolation: true, outputColor: 0, gamm: [1, 1, 0, 0, 0, 0] },
  });
  // Processing makes one colour of both greens.
  const { filters } = file.metadata(true);
  // In this order: what is unpacked for its samples alone is not processed any more.
  const { data, width, height } = file.imageData();
  const raw = file.rawImageData();
  // Black has been taken off the white level too by now.
  const { color_data, left_margin, top_margin } = file.metadata(true);
  const white = color_data.maximum - color_data.black;
  if (!raw || filters <= minBayerCode) return { white };
  const black: number[] = [];
  for (const [x, y] of [[0, 0] as const, [1, 0] as const, [0, 1] as const, [1, 1] as const]) {
    const taken: number[] = [];
    const columns = width >> 1;
    const places = columns * (height >> 1);
    const pitch = Math.max(1, Math.floor(places / comparedSamples));
    for (let place = 0; place < places; place += pitch) {
      const column = x + 2 * (place % columns);
      const row = y + 2 * Math.floor(place / columns);
      const at = (row * width + column) * 3;
      const left = Math.max(data[at], data[at + 1], data[at + 2]);
      const sample = raw.data[(row + top_margin) * raw.raw_width + column + left_margin];
      // Where nothing is left, the sample was below black.
      if (left > 0) taken.push(sample - left);
    }
    if (taken.length === 0) return { white };
    taken.sort((one, other) => one - other);
    // Two bits for each place, from the lowest (dcraw's code of a mosaic).
    const colour = (filters >>> ((((y << 1) & 14) | (x & 1)) << 1)) & 3;
    black[colour] = taken[taken.length >> 1];
  }
  return { black, white };
}

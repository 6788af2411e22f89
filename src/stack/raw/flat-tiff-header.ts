import { encodeTiff, type Ifd, longField, shortField } from '../ifd.js';

/**
 * What stands before the samples of an uncompressed TIFF of 16 bits (TIFF 6.0, sections 4 and 6), little-endian, in one
 * strip. The samples follow at once.
 */
export function flatTiffHeader(width: number, height: number, channels: 1 | 3): Buffer {
  const startingAt = (offset: number): Buffer => {
    const ifd: Ifd = new Map([
      [256, longField(width)],
      [257, longField(height)],
      [258, shortField(...new Array<number>(channels).fill(16))],
      [259, shortField(1)],
      [262, shortField(channels === 1 ? 1 : 2)],
      [273, longField(offset)],
      [277, shortField(channels)],
      [278, longField(height)],
      [279, longField(width * height * channels * 2)],
      [284, shortField(1)],
    ]);
    return encodeTiff(ifd);
  };
  // No number in it changes its length.
  return startingAt(startingAt(0).length);
}

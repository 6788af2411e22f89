import ndarray from 'ndarray';
import ops from 'ndarray-ops';
import sharp from 'sharp';

/** A picture for measuring: `rgb` has shape (rows, cols, 3), interleaved, 0 to 65535 whatever the file's depth. */
export interface Raster {
  width: number;
  height: number;
  rgb: Uint16Array;
}

/**
 * Reads a PNG, TIFF or JPEG without colour management. 8-bit samples are widened by 257, grey is tripled,
 * alpha is dropped. Rejects when the file cannot be decoded.
 */
export async function readRaster(path: string): Promise<Raster> {
  const meta = await sharp(path, { ignoreIcc: true }).metadata();
  const wide = meta.depth !== 'uchar';
  const grey = meta.channels < 3;
  const source = sharp(path, { ignoreIcc: true, limitInputPixels: false });
  // Without the explicit 16-bit space the samples would pass through 8 bits.
  const { data, info } = wide
    ? await source
        .toColourspace(grey ? 'grey16' : 'rgb16')
        .raw({ depth: 'ushort' })
        .toBuffer({ resolveWithObject: true })
    : await source.raw().toBuffer({ resolveWithObject: true });
  const samples = wide ? new Uint16Array(data.buffer, data.byteOffset, data.byteLength / 2) : data;
  return { width: info.width, height: info.height, rgb: toRgb16(samples, info.channels, wide ? 1 : 257) };
}

function toRgb16(samples: Uint8Array | Uint16Array, channels: number, factor: number): Uint16Array {
  if (channels === 3 && samples instanceof Uint16Array) return samples;
  const pixels = samples.length / channels;
  const rgb = ndarray(new Uint16Array(pixels * 3), [pixels, 3]);
  const given = ndarray(samples, [pixels, channels]);
  for (const channel of [0, 1, 2]) {
    ops.muls(rgb.pick(null, channel), given.pick(null, channels < 3 ? 0 : channel), factor);
  }
  return rgb.data;
}

/** Rec. 601 luma of a raster on the 8-bit scale: shape (rows, cols), 0 to 255. */
export function lumaOf(raster: Raster): Float32Array {
  const { rgb } = raster;
  const luma = new Float32Array(raster.width * raster.height);
  for (let i = 0, at = 0; i < luma.length; i++, at += 3) {
    luma[i] = (0.299 * rgb[at] + 0.587 * rgb[at + 1] + 0.114 * rgb[at + 2]) / 257;
  }
  return luma;
}

import { inflateRawSync } from 'node:zlib';

/** An array of a NumPy file, row-major. */
export interface NpyArray {
  shape: number[];
  data: Float32Array | Float64Array;
}

/**
 * Arrays of a NumPy archive by name: a ZIP of `.npy` files, stored or deflated. Reads the central directory
 * (ZIP application note 6.3, sections 4.3.7 and 4.3.12); no ZIP64. Throws on anything else.
 */
export function readNpz(file: Buffer): Record<string, NpyArray> {
  const end = file.lastIndexOf(Buffer.from('PK\x05\x06', 'latin1'));
  if (end < 0) throw new Error('Expected a ZIP archive but found no end of central directory');
  const arrays: Record<string, NpyArray> = {};
  let at = file.readUInt32LE(end + 16);
  for (let entry = file.readUInt16LE(end + 10); entry > 0; entry--) {
    const method = file.readUInt16LE(at + 10);
    const packedBytes = file.readUInt32LE(at + 20);
    const nameBytes = file.readUInt16LE(at + 28);
    const local = file.readUInt32LE(at + 42);
    const name = file.toString('utf8', at + 46, at + 46 + nameBytes);
    const start = local + 30 + file.readUInt16LE(local + 26) + file.readUInt16LE(local + 28);
    const packed = file.subarray(start, start + packedBytes);
    if (method !== 0 && method !== 8)
      throw new Error(`Expected ZIP method 0 or 8 for ${name} but it is ${method}`);
    arrays[name.replace(/\.npy$/, '')] = readNpy(method === 8 ? inflateRawSync(packed) : packed);
    at += 46 + nameBytes + file.readUInt16LE(at + 30) + file.readUInt16LE(at + 32);
  }
  return arrays;
}

/** A little-endian float array in NumPy's file format 1, 2 or 3, C order. Throws on any other. */
export function readNpy(file: Buffer): NpyArray {
  if (file.toString('latin1', 0, 6) !== '\x93NUMPY')
    throw new Error('Expected a NumPy file but its mark is missing');
  const wide = file[6] > 1;
  const headerAt = wide ? 12 : 10;
  const dataAt = headerAt + (wide ? file.readUInt32LE(8) : file.readUInt16LE(8));
  const header = file.toString('latin1', headerAt, dataAt);
  const type = /'descr': '(<f[48])'/.exec(header)?.[1];
  const shape = /'shape': \(([\d, ]*)\)/.exec(header)?.[1];
  if (type === undefined || shape === undefined || !header.includes("'fortran_order': False")) {
    throw new Error(`Expected little-endian floats in C order but the header is ${header.trim()}`);
  }
  const bytes = file.buffer.slice(file.byteOffset + dataAt, file.byteOffset + file.byteLength);
  return {
    shape: shape
      .split(',')
      .filter((size) => size.trim() !== '')
      .map(Number),
    data: type === '<f4' ? new Float32Array(bytes) : new Float64Array(bytes),
  };
}

/** One field of a TIFF directory by the kind of its values; a block or a directory stands for the offset of one. */
export interface Field {
  tag: number;
  ascii?: string;
  bytes?: number[];
  shorts?: number[];
  longs?: number[];
  rationals?: number[][];
  signedRationals?: number[][];
  block?: Buffer;
  directory?: Field[];
}

/** A little-endian TIFF (TIFF 6.0, section 2) of one main directory, in front, with all that it points to behind. */
export function writeDirectories(main: Field[]): Buffer {
  const pieces: Buffer[] = [];
  let end = 8;
  const put = (bytes: Buffer): number => {
    const at = end;
    const padded = bytes.length % 2 === 0 ? bytes : Buffer.concat([bytes, Buffer.alloc(1)]);
    pieces.push(padded);
    end += padded.length;
    return at;
  };
  const directory = (fields: Field[]): number => {
    const table = Buffer.alloc(2 + fields.length * 12 + 4);
    const at = put(table);
    table.writeUInt16LE(fields.length, 0);
    [...fields]
      .sort((one, other) => one.tag - other.tag)
      .forEach((field, i) => {
        const entry = 2 + i * 12;
        const { type, count, data } = encode(field, directory, put);
        table.writeUInt16LE(field.tag, entry);
        table.writeUInt16LE(type, entry + 2);
        table.writeUInt32LE(count, entry + 4);
        if (data.length <= 4) data.copy(table, entry + 8);
        else table.writeUInt32LE(put(data), entry + 8);
      });
    return at;
  };
  directory(main);
  return Buffer.concat([Buffer.from('II*\0\x08\0\0\0', 'latin1'), ...pieces]);
}

function encode(
  field: Field,
  directory: (fields: Field[]) => number,
  put: (bytes: Buffer) => number,
): { type: number; count: number; data: Buffer } {
  const { ascii, bytes, shorts, rationals, signedRationals, block } = field;
  if (ascii !== undefined) return { type: 2, count: ascii.length + 1, data: Buffer.from(`${ascii}\0`) };
  if (bytes) return { type: 1, count: bytes.length, data: Buffer.from(bytes) };
  if (shorts) return { type: 3, count: shorts.length, data: Buffer.from(new Uint16Array(shorts).buffer) };
  if (rationals) {
    return { type: 5, count: rationals.length, data: Buffer.from(new Uint32Array(rationals.flat()).buffer) };
  }
  if (signedRationals) {
    const data = Buffer.from(new Int32Array(signedRationals.flat()).buffer);
    return { type: 10, count: signedRationals.length, data };
  }
  const longs = block ? [put(block)] : field.directory ? [directory(field.directory)] : (field.longs ?? []);
  return { type: 4, count: longs.length, data: Buffer.from(new Uint32Array(longs).buffer) };
}

/** One field for `buildTiff`: ASCII text, unsigned shorts, unsigned longs or unsigned rationals. */
export interface Field {
  tag: number;
  ascii?: string;
  shorts?: number[];
  longs?: number[];
  rationals?: [number, number][];
}

export interface TiffParts {
  littleEndian?: boolean;
  big?: boolean;
  /** Further fields of the main directory. */
  main?: Field[];
  exif?: Field[];
  gps?: Field[];
  /** A sub-directory of the main one (tag 330). */
  sub?: Field[];
}

/**
 * An 8 x 4 grey TIFF (or BigTIFF) after the TIFF 6.0 layout, its directories at the end as many writers do,
 * with the fields asked for. Written for the tests alone, so that the reader is judged by another hand.
 */
export function buildTiff({
  littleEndian = true,
  big = false,
  main = [],
  exif,
  gps,
  sub,
}: TiffParts): Buffer {
  const word = big ? 8 : 4;
  const number = (value: number, size: number): Buffer => {
    const bytes = Buffer.alloc(size);
    if (size === 8) {
      if (littleEndian) bytes.writeBigUInt64LE(BigInt(value));
      else bytes.writeBigUInt64BE(BigInt(value));
    } else if (littleEndian) bytes.writeUIntLE(value, 0, size);
    else bytes.writeUIntBE(value, 0, size);
    return bytes;
  };
  const encode = (field: Field): { type: number; count: number; data: Buffer } => {
    if (field.ascii !== undefined) {
      const data = Buffer.from(`${field.ascii}\0`, 'latin1');
      return { type: 2, count: data.length, data };
    }
    if (field.shorts) {
      return {
        type: 3,
        count: field.shorts.length,
        data: Buffer.concat(field.shorts.map((v) => number(v, 2))),
      };
    }
    if (field.rationals) {
      const data = Buffer.concat(field.rationals.flat().map((v) => number(v, 4)));
      return { type: 5, count: field.rationals.length, data };
    }
    const longs = field.longs ?? [];
    return { type: 4, count: longs.length, data: Buffer.concat(longs.map((v) => number(v, 4))) };
  };

  const head = big ? 16 : 8;
  const parts: Buffer[] = [Buffer.alloc(32, 99)];
  let at = head + 32;
  const put = (bytes: Buffer): number => {
    const start = at;
    parts.push(bytes);
    at += bytes.length;
    return start;
  };
  const directory = (fields: Field[]): number => {
    const entries = [...fields]
      .sort((first, second) => first.tag - second.tag)
      .map((field) => {
        const { type, count, data } = encode(field);
        const value = Buffer.alloc(word);
        if (data.length <= word) data.copy(value);
        else number(put(Buffer.concat([data, Buffer.alloc(data.length % 2)])), word).copy(value);
        return Buffer.concat([number(field.tag, 2), number(type, 2), number(count, word), value]);
      });
    return put(Buffer.concat([number(entries.length, big ? 8 : 2), ...entries, Buffer.alloc(word)]));
  };

  const fields: Field[] = [
    { tag: 256, shorts: [8] },
    { tag: 257, shorts: [4] },
    { tag: 258, shorts: [8] },
    { tag: 259, shorts: [1] },
    { tag: 262, shorts: [1] },
    { tag: 273, longs: [head] },
    { tag: 277, shorts: [1] },
    { tag: 278, shorts: [4] },
    { tag: 279, longs: [32] },
    ...main,
  ];
  if (exif) fields.push({ tag: 34665, longs: [directory(exif)] });
  if (gps) fields.push({ tag: 34853, longs: [directory(gps)] });
  if (sub) fields.push({ tag: 330, longs: [directory(sub)] });
  const first = directory(fields);
  const mark = Buffer.from(littleEndian ? 'II' : 'MM', 'latin1');
  const header = big
    ? Buffer.concat([mark, number(43, 2), number(8, 2), number(0, 2), number(first, 8)])
    : Buffer.concat([mark, number(42, 2), number(first, 4)]);
  return Buffer.concat([header, ...parts]);
}

/** TIFF field types by their code, with bytes per item (TIFF 6.0, p. 15; 13: TIFF technical note 1; 16 to 18 of BigTIFF). */
export const fieldTypes = {
  byte: 1,
  ascii: 2,
  short: 3,
  long: 4,
  rational: 5,
  undefined: 7,
  long8: 16,
  ifd8: 18,
} as const;

export const bytesPerItem: Record<number, number> = {
  1: 1,
  2: 1,
  3: 2,
  4: 4,
  5: 8,
  6: 1,
  7: 1,
  8: 2,
  9: 4,
  10: 8,
  11: 4,
  12: 8,
  13: 4,
  16: 8,
  17: 8,
  18: 8,
};

/** One field: `value` holds its items in little-endian order. */
export interface IfdField {
  type: number;
  count: number;
  value: Buffer;
}

/** An image file directory: fields by tag; a directory of its own stands under its pointer's tag. */
export type Ifd = Map<number, IfdField | Ifd>;

export function asciiField(text: string): IfdField {
  const value = Buffer.from(`${text}\0`, 'utf8');
  return { type: fieldTypes.ascii, count: value.length, value };
}

export function shortField(...items: number[]): IfdField {
  const value = Buffer.alloc(items.length * 2);
  for (let i = 0; i < items.length; i++) value.writeUInt16LE(items[i], i * 2);
  return { type: fieldTypes.short, count: items.length, value };
}

export function longField(...items: number[]): IfdField {
  const value = Buffer.alloc(items.length * 4);
  for (let i = 0; i < items.length; i++) value.writeUInt32LE(items[i], i * 4);
  return { type: fieldTypes.long, count: items.length, value };
}

export function long8Field(...items: number[]): IfdField {
  const value = Buffer.alloc(items.length * 8);
  for (let i = 0; i < items.length; i++) value.writeBigUInt64LE(BigInt(items[i]), i * 8);
  return { type: fieldTypes.long8, count: items.length, value };
}

export function undefinedField(value: Buffer): IfdField {
  return { type: fieldTypes.undefined, count: value.length, value };
}

/** Widths of the parts of a directory: classic TIFF counts in 2 and 4 bytes, BigTIFF in 8. */
interface IfdLayout {
  countBytes: number;
  entryBytes: number;
  offsetBytes: 4 | 8;
}

const classicLayout: IfdLayout = { countBytes: 2, entryBytes: 12, offsetBytes: 4 };
const bigLayout: IfdLayout = { countBytes: 8, entryBytes: 20, offsetBytes: 8 };

/**
 * The bytes of a directory, little-endian, with its long values and inner directories behind it.
 *
 * @param ifd Fields in any order; they are written by ascending tag, as the standard demands.
 * @param at Offset at which the bytes will lie from the TIFF header; even.
 * @param big Writes the BigTIFF form.
 */
export function encodeIfd(ifd: Ifd, at: number, big = false): Buffer {
  const layout = big ? bigLayout : classicLayout;
  const tags = [...ifd.keys()].sort((left, right) => left - right);
  const head = Buffer.alloc(layout.countBytes + tags.length * layout.entryBytes + layout.offsetBytes);
  if (big) head.writeBigUInt64LE(BigInt(tags.length), 0);
  else head.writeUInt16LE(tags.length, 0);

  const parts: Buffer[] = [head];
  let end = at + head.length;
  tags.forEach((tag, i) => {
    const entry = layout.countBytes + i * layout.entryBytes;
    const content = ifd.get(tag)!;
    const field = content instanceof Map ? pointerField(evenUp(end), big) : content;
    head.writeUInt16LE(tag, entry);
    head.writeUInt16LE(field.type, entry + 2);
    writeOffset(head, field.count, entry + 4, layout);
    const valueAt = entry + 4 + layout.offsetBytes;
    const behind = content instanceof Map ? encodeIfd(content, evenUp(end), big) : content.value;
    if (content instanceof Map || field.value.length > layout.offsetBytes) {
      // Values begin on even offsets.
      const padding = evenUp(end) - end;
      if (padding) parts.push(Buffer.alloc(padding));
      writeOffset(head, end + padding, valueAt, layout);
      parts.push(behind);
      end += padding + behind.length;
    } else {
      field.value.copy(head, valueAt);
    }
  });
  return Buffer.concat(parts);
}

/**
 * A directory as a TIFF structure, little-endian: the start of a TIFF file, PNG's eXIf and, behind 'Exif\0\0', JPEG's
 * APP1.
 */
export function encodeTiff(ifd: Ifd): Buffer {
  return Buffer.concat([Buffer.from([0x49, 0x49, 42, 0, 8, 0, 0, 0]), encodeIfd(ifd, 8)]);
}

function pointerField(offset: number, big: boolean): IfdField {
  return big ? { ...long8Field(offset), type: fieldTypes.ifd8 } : longField(offset);
}

function writeOffset(into: Buffer, value: number, at: number, layout: IfdLayout): void {
  if (layout.offsetBytes === 8) into.writeBigUInt64LE(BigInt(value), at);
  else into.writeUInt32LE(value, at);
}

function evenUp(offset: number): number {
  return offset + (offset & 1);
}

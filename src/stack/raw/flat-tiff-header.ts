/**
 * What stands before the samples of an uncompressed TIFF of 16 bits (TIFF 6.0, sections 2, 4 and 6), little-endian, in
 * one strip. The samples follow at once.
 */
export function flatTiffHeader(width: number, height: number, channels: 1 | 3): Buffer {
  const short = 3;
  const long = 4;
  const entries = 10;
  const bitsAt = 8 + 2 + entries * 12 + 4;
  const length = bitsAt + 8;
  const table: [tag: number, type: number, count: number, value: number][] = [
    [256, long, 1, width],
    [257, long, 1, height],
    // Three values do not fit into the field.
    [258, short, channels, channels === 1 ? 16 : bitsAt],
    [259, short, 1, 1],
    [262, short, 1, channels === 1 ? 1 : 2],
    [273, long, 1, length],
    [277, short, 1, channels],
    [278, long, 1, height],
    [279, long, 1, width * height * channels * 2],
    [284, short, 1, 1],
  ];
  const bytes = Buffer.alloc(length);
  bytes.write('II*\0\x08\0\0\0', 'latin1');
  bytes.writeUInt16LE(table.length, 8);
  table.forEach(([tag, type, count, value], i) => {
    const at = 10 + i * 12;
    bytes.writeUInt16LE(tag, at);
    bytes.writeUInt16LE(type, at + 2);
    bytes.writeUInt32LE(count, at + 4);
    bytes.writeUInt32LE(value, at + 8);
  });
  for (let i = 0; i < 3; i++) bytes.writeUInt16LE(16, bitsAt + 2 * i);
  return bytes;
}

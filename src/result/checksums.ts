import * as zlib from 'node:zlib';

const crcTable = new Uint32Array(256).map((_, value) => {
  let crc = value;
  for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? 0xedb88320 ^ (crc >>> 1) : crc >>> 1;
  return crc;
});

/** That of zlib, which Node has from 20.15 on. */
const nativeCrc32 = (zlib as { crc32?: (bytes: Uint8Array, crc?: number) => number }).crc32;

/** CRC-32 as PNG uses it (polynomial 0xedb88320, PNG specification, annex D), over several pieces in order. */
export function crc32(...pieces: Uint8Array[]): number {
  if (nativeCrc32) return pieces.reduce((crc, piece) => nativeCrc32(piece, crc), 0);
  return tableCrc32(...pieces);
}

/** The same without zlib. */
export function tableCrc32(...pieces: Uint8Array[]): number {
  let crc = 0xffffffff;
  for (const piece of pieces) {
    for (let i = 0; i < piece.length; i++) crc = crcTable[(crc ^ piece[i]) & 255] ^ (crc >>> 8);
  }
  return ~crc >>> 0;
}

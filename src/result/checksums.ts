const crcTable = new Uint32Array(256).map((_, value) => {
  let crc = value;
  for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? 0xedb88320 ^ (crc >>> 1) : crc >>> 1;
  return crc;
});

/** CRC-32 as PNG uses it (polynomial 0xedb88320, PNG specification, annex D), over several pieces in order. */
export function crc32(...pieces: Uint8Array[]): number {
  let crc = 0xffffffff;
  for (const piece of pieces) {
    for (let i = 0; i < piece.length; i++) crc = crcTable[(crc ^ piece[i]) & 255] ^ (crc >>> 8);
  }
  return ~crc >>> 0;
}

/** The longest run of bytes whose sums stay below 2^32 without a modulo. */
const adlerRun = 5552;

/** Adler-32 (RFC 1950) continued from `adler`, which is 1 before the first byte. */
export function adler32(bytes: Uint8Array, adler: number): number {
  let low = adler & 0xffff;
  let high = adler >>> 16;
  for (let start = 0; start < bytes.length; start += adlerRun) {
    const end = Math.min(bytes.length, start + adlerRun);
    for (let i = start; i < end; i++) {
      low += bytes[i];
      high += low;
    }
    low %= 65521;
    high %= 65521;
  }
  return ((high << 16) | low) >>> 0;
}

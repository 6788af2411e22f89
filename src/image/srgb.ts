/** Linear light of a value encoded in sRGB (IEC 61966-2-1), both as shares of full range, 0 to 1. */
export function lightOfSrgb(encoded: number): number {
  return encoded <= 0.04045 ? encoded / 12.92 : ((encoded + 0.055) / 1.055) ** 2.4;
}

/** Linear light, 0 to 1, of every 8-bit value of sRGB. */
export const lightOfByte = Float64Array.from({ length: 256 }, (_, value) => lightOfSrgb(value / 255));

/** 8-bit value of sRGB of linear light, which is clipped to 0 to 1. */
export function srgbByte(linear: number): number {
  const light = Math.max(0, Math.min(1, linear));
  const encoded = light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
  return Math.round(255 * encoded);
}

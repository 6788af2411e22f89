/**
 * Averages a picture, (height, width, 3), along a straight line of length |(smearX, smearY)| px centred on each pixel:
 * what an even movement during the exposure does. Bilinear between pixels, border pixels repeated.
 */
export function smearPicture(
  linear: Float32Array,
  width: number,
  height: number,
  smearX: number,
  smearY: number,
): Float32Array {
  const out = new Float32Array(linear.length);
  const samples = 2 * Math.ceil(Math.hypot(smearX, smearY)) + 1;
  const clamp = (value: number, top: number) => Math.min(top, Math.max(0, value));
  for (let i = 0; i < samples; i++) {
    const part = (i + 0.5) / samples - 0.5;
    const left = Math.floor(part * smearX);
    const top = Math.floor(part * smearY);
    const u = part * smearX - left;
    const v = part * smearY - top;
    const weights = [(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v];
    for (let y = 0; y < height; y++) {
      const row0 = clamp(y + top, height - 1) * width;
      const row1 = clamp(y + top + 1, height - 1) * width;
      for (let x = 0; x < width; x++) {
        const x0 = clamp(x + left, width - 1);
        const x1 = clamp(x + left + 1, width - 1);
        for (let channel = 0; channel < 3; channel++) {
          out[3 * (y * width + x) + channel] +=
            (weights[0] * linear[3 * (row0 + x0) + channel] +
              weights[1] * linear[3 * (row0 + x1) + channel] +
              weights[2] * linear[3 * (row1 + x0) + channel] +
              weights[3] * linear[3 * (row1 + x1) + channel]) /
            samples;
        }
      }
    }
  }
  return out;
}

import type { TransferCurve } from '../../src/image/transfer-curve.js';

/** Light of a sample, 0..255 both. */
export function lightAt([c1, c2, c3]: TransferCurve, sample: number): number {
  const v = sample / 255;
  return 255 * v * (c1 + v * (c2 + v * c3));
}

import ndarray, { type NdArray } from 'ndarray';
import ops from 'ndarray-ops';

/** Each pixel of a crop as a square of `factor` pixels a side. */
export function magnifyInto(target: NdArray<Uint8Array>, crop: NdArray<Uint8Array>, factor: number): void {
  for (let dy = 0; dy < factor; dy++) {
    for (let dx = 0; dx < factor; dx++) ops.assign(target.lo(dy, dx).step(factor, factor), crop);
  }
}

/** Each square of `factor` pixels a side of a crop, cut off at its edges, as its mean. */
export function reduceInto(target: NdArray<Uint8Array>, crop: NdArray<Uint8Array>, factor: number): void {
  const sums = ndarray(new Float64Array(target.size), target.shape);
  const counts = ndarray(new Float64Array(target.size), target.shape);
  for (let dy = 0; dy < factor; dy++) {
    for (let dx = 0; dx < factor; dx++) {
      const pixels = crop.lo(dy, dx).step(factor, factor);
      const [rows, columns] = pixels.shape;
      ops.addeq(sums.hi(rows, columns), pixels);
      ops.addseq(counts.hi(rows, columns), 1);
    }
  }
  ops.diveq(sums, counts);
  ops.round(target, sums);
}

/**
 * A disc as the steps between neighbouring weights of its rows: adding `step[i]` at `offset[i]` for every source and
 * then summing along the rows gives the same as adding every weight, at the cost of the rim instead of the area.
 */
export interface Stencil {
  /** Pixels of reach in each direction; the last step of a row falls at `reach + 1`, the last step of steps one farther. */
  reach: number;
  /** Offsets in grid cells, `dy * stride + dx`. */
  offsets: Int32Array;
  steps: Float32Array;
  /** The same steps of the weights times dy / r, r the radius of the disc: what a slope along y adds. */
  tiltY: Float32Array;
  /**
   * What a slope along x adds, the weights times dx / r, as steps of steps: two sums along the rows give it. Inside
   * the disc it rises evenly, so this too is nothing but the rim.
   */
  offsetsX: Int32Array;
  tiltX: Float32Array;
}

/** Weights of a disc of pixels, side 2 reach + 1, row by row, sum 1. */
export interface DiscWeights {
  reach: number;
  weights: Float64Array;
}

/** Half the breadth of the rim, px: narrower, and the discs of a surface whose blur grows add up unevenly. */
const halfRim = 0.75;

function softDisc(softRadius: number): DiscWeights {
  const reach = Math.max(0, Math.ceil(softRadius + halfRim) - 1);
  const side = 2 * reach + 1;
  const weights = new Float64Array(side * side);
  let sum = 0;
  for (let y = -reach; y <= reach; y++) {
    for (let x = -reach; x <= reach; x++) {
      const part = Math.min(1, Math.max(0, (softRadius + halfRim - Math.hypot(x, y)) / (2 * halfRim)));
      // Smooth at both ends, so that every weight grows smoothly with the radius.
      const weight = part * part * (3 - 2 * part);
      weights[(y + reach) * side + x + reach] = weight;
      sum += weight;
    }
  }
  for (let i = 0; i < weights.length; i++) weights[i] /= sum;
  return { reach, weights };
}

/** Second moment along x of a disc of weights, pixels squared. */
export function discVariance(disc: DiscWeights): number {
  const side = 2 * disc.reach + 1;
  let variance = 0;
  for (let i = 0; i < disc.weights.length; i++) variance += disc.weights[i] * ((i % side) - disc.reach) ** 2;
  return variance;
}

/**
 * Weights of a blur disc of any radius >= 0 in pixels. The rim falls off over a pixel and a half; its radius is
 * solved so that the second moment is that of the ideal disc, radius^2 / 4, which makes blur grow smoothly from none.
 */
export function discWeights(radiusPx: number): DiscWeights {
  const wanted = radiusPx ** 2 / 4;
  let low = 1 - halfRim;
  let high = radiusPx + 1;
  for (let i = 0; i < 40; i++) {
    const middle = (low + high) / 2;
    if (discVariance(softDisc(middle)) < wanted) low = middle;
    else high = middle;
  }
  return softDisc((low + high) / 2);
}

/** A disc spread over squares of `side` (odd) pixels: what a block of that many pixels gives, all blurred by the disc. */
function spreadOverSquare(disc: DiscWeights, side: number): DiscWeights {
  const half = (side - 1) / 2;
  const reach = disc.reach + half;
  const from = 2 * disc.reach + 1;
  const to = 2 * reach + 1;
  const weights = new Float64Array(to * to);
  for (let y = 0; y < from; y++) {
    for (let x = 0; x < from; x++) {
      const share = disc.weights[y * from + x] / side ** 2;
      if (share === 0) continue;
      for (let dy = 0; dy < side; dy++) {
        for (let dx = 0; dx < side; dx++) weights[(y + dy) * to + x + dx] += share;
      }
    }
  }
  return { reach, weights };
}

function toStencil(disc: DiscWeights, radiusPx: number, stride: number): Stencil {
  const { reach, weights } = disc;
  const side = 2 * reach + 1;
  const inverse = radiusPx > 0 ? 1 / radiusPx : 0;
  const offsets: number[] = [];
  const steps: number[] = [];
  const tiltY: number[] = [];
  const offsetsX: number[] = [];
  const tiltX: number[] = [];
  for (let y = 0; y < side; y++) {
    const at = (x: number) => (x >= 0 && x < side ? weights[y * side + x] : 0);
    const tilted = (x: number) => at(x) * (x - reach) * inverse;
    for (let x = 0; x <= side + 1; x++) {
      const offset = (y - reach) * stride + x - reach;
      const step = at(x) - at(x - 1);
      if (Math.abs(step) > 1e-12) {
        offsets.push(offset);
        steps.push(step);
        tiltY.push(step * (y - reach) * inverse);
      }
      const bend = tilted(x) - 2 * tilted(x - 1) + tilted(x - 2);
      if (Math.abs(bend) > 1e-12) {
        offsetsX.push(offset);
        tiltX.push(bend);
      }
    }
  }
  return {
    reach,
    offsets: Int32Array.from(offsets),
    steps: Float32Array.from(steps),
    tiltY: Float32Array.from(tiltY),
    offsetsX: Int32Array.from(offsetsX),
    tiltX: Float32Array.from(tiltX),
  };
}

/** Stencils for grids of one stride, made on first use. */
export interface StencilTable {
  /**
   * The stencil of a disc of `radiusPx`, for a source that stands for a block of `side` x `side` pixels (odd).
   * A block's light is spread evenly over the block before the disc, so that full blocks side by side, and blocks
   * beside single points, give an even field. Gathering and spreading each add (side^2 - 1) / 12 to the second moment.
   */
  get(radiusPx: number, side: number): Stencil;
}

export function createStencilTable(stride: number): StencilTable {
  const tables: Stencil[][] = [];
  return {
    get(radiusPx, side) {
      tables[side] ??= [];
      const table = tables[side];
      // 1/64 px near focus is 0.01 of a step at the usual settings; coarser where nobody could see it.
      const index = radiusPx < 4 ? Math.round(radiusPx * 64) : 256 + Math.round((radiusPx - 4) * 16);
      if (table[index] === undefined) {
        const radius = index <= 256 ? index / 64 : 4 + (index - 256) / 16;
        const disc = discWeights(radius);
        table[index] = toStencil(side === 1 ? disc : spreadOverSquare(disc, side), radius, stride);
      }
      return table[index];
    },
  };
}

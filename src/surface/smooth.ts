/** A map of places with weights, shape (rows, cols) each; weight 0 = unknown. */
export interface WeightedMap {
  width: number;
  height: number;
  place: Float32Array;
  weight: Float32Array;
}

const taps = [1 / 16, 4 / 16, 6 / 16, 4 / 16, 1 / 16];

/**
 * One pass of edge-avoiding smoothing with holes of `step` pixels between its 5 x 5 taps, after Dammertz et
 * al., "Edge-avoiding À-Trous wavelet transform" (HPG 2010): neighbours count by their weight and by how
 * near their place is (`tolerance`, frames). The new weight falls where the neighbours disagree.
 */
export function smoothPass(from: WeightedMap, to: WeightedMap, step: number, tolerance: number): void {
  const { width, height, place, weight } = from;
  const unit = 1 / tolerance ** 2;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      const here = place[i];
      const known = weight[i] > 0;
      let sum = 0;
      let sumPlace = 0;
      let all = 0;
      for (let j = -2; j <= 2; j++) {
        const yy = y + j * step;
        if (yy < 0 || yy >= height) continue;
        for (let k = -2; k <= 2; k++) {
          const xx = x + k * step;
          if (xx < 0 || xx >= width) continue;
          const q = yy * width + xx;
          const w = weight[q];
          if (w <= 0) continue;
          const share = taps[j + 2] * taps[k + 2] * w;
          const apart = (place[q] - here) * (place[q] - here) * unit;
          const alike = known ? share / (1 + apart * apart) : share;
          all += share;
          sum += alike;
          sumPlace += alike * place[q];
        }
      }
      to.place[i] = sum > 0 ? sumPlace / sum : here;
      to.weight[i] = sum > 0 ? (sum * sum) / all : 0;
    }
  }
}

/**
 * Places everywhere: where the weight falls below 1 the map of half the size stands in, which is filled in the
 * same way (push and pull, Gortler et al., "The Lumigraph", SIGGRAPH 1996).
 */
export function fillUnknown(map: WeightedMap): Float32Array {
  const { width, height, place, weight } = map;
  if (Math.max(width, height) <= 2) {
    let sum = 0;
    let sumPlace = 0;
    for (let i = 0; i < place.length; i++) {
      sum += weight[i];
      sumPlace += weight[i] > 0 ? weight[i] * place[i] : 0;
    }
    const mean = sum > 0 ? sumPlace / sum : 0;
    return place.map((value, i) => (weight[i] > 0 ? value : mean));
  }
  const half = halve(map);
  const coarse = fillUnknown(half);
  const out = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    const fy = Math.max(0, y / 2 - 0.25);
    const y0 = Math.floor(fy) * half.width;
    const y1 = Math.min(half.height - 1, Math.floor(fy) + 1) * half.width;
    const ay = fy - Math.floor(fy);
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      const own = Math.min(1, weight[i]);
      if (own >= 1) {
        out[i] = place[i];
        continue;
      }
      const fx = Math.max(0, x / 2 - 0.25);
      const x0 = Math.floor(fx);
      const x1 = Math.min(half.width - 1, x0 + 1);
      const ax = fx - x0;
      const top = coarse[y0 + x0] * (1 - ax) + coarse[y0 + x1] * ax;
      const bottom = coarse[y1 + x0] * (1 - ax) + coarse[y1 + x1] * ax;
      const filled = top * (1 - ay) + bottom * ay;
      out[i] = own > 0 ? own * place[i] + (1 - own) * filled : filled;
    }
  }
  return out;
}

function halve({ width, height, place, weight }: WeightedMap): WeightedMap {
  const half = takeMap((width + 1) >> 1, (height + 1) >> 1);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (weight[i] <= 0) continue;
      const o = (y >> 1) * half.width + (x >> 1);
      half.place[o] += weight[i] * place[i];
      half.weight[o] += weight[i];
    }
  }
  for (let i = 0; i < half.place.length; i++) {
    if (half.weight[i] <= 0) continue;
    half.place[i] /= half.weight[i];
    half.weight[i] = Math.min(1, half.weight[i]);
  }
  return half;
}

export function takeMap(width: number, height: number): WeightedMap {
  const cells = width * height;
  return { width, height, place: new Float32Array(cells), weight: new Float32Array(cells) };
}

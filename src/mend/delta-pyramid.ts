import type { Size } from '../image/image.js';

/**
 * Blends a difference picture in by a mask, band by band (Burt & Adelson, "A multiresolution spline with application
 * to image mosaics", ACM TOG 2(4), 1983). The blend is linear, so instead of two pictures their difference is
 * taken apart:
 *
 *   composite + sum over l of expand^l( M_l (D_l - expand(D_l+1)) )  +  expand^L( M_L D_L ),   D = frame - composite
 *
 * where D_l and M_l are reduced l times by [1 4 6 4 1]/16. Where the mask is 0 over the radius of the pyramid the sum is
 * exactly 0; where it is all 1 the sum is D.
 *
 * @param planes Planes of D, shape (height, width) each; they are overwritten by the result.
 * @param mask 0 to 1, same shape.
 * @param levels Reductions; 0 = multiply by the mask.
 */
export function blendDelta(planes: Float32Array[], mask: Float32Array, size: Size, levels: number): void {
  const masks = [mask];
  const sizes = [size];
  for (let level = 0; level < levels; level++) {
    masks.push(reduce(masks[level], sizes[level]));
    sizes.push(halfSize(sizes[level]));
  }
  for (const plane of planes) {
    const bands = [plane];
    for (let level = 0; level < levels; level++) {
      const coarse = reduce(bands[level], sizes[level]);
      expandInto(coarse, bands[level], sizes[level], -1);
      bands.push(coarse);
    }
    for (let level = levels; level >= 0; level--) {
      const band = bands[level];
      const weights = masks[level];
      for (let i = 0; i < band.length; i++) band[i] *= weights[i];
      if (level < levels) expandInto(bands[level + 1], band, sizes[level], 1);
    }
  }
}

function halfSize({ width, height }: Size): Size {
  return { width: (width + 1) >> 1, height: (height + 1) >> 1 };
}

/** [1 4 6 4 1]/16 along both axes, every second pixel; beyond the borders the picture is mirrored. */
function reduce(plane: Float32Array, { width, height }: Size): Float32Array {
  const half = halfSize({ width, height });
  const out = new Float32Array(half.width * half.height);
  const row = new Float32Array(width + 4);
  for (let y = 0; y < half.height; y++) {
    const r0 = mirror(2 * y - 2, height) * width;
    const r1 = mirror(2 * y - 1, height) * width;
    const r2 = 2 * y * width;
    const r3 = mirror(2 * y + 1, height) * width;
    const r4 = mirror(2 * y + 2, height) * width;
    for (let x = 0; x < width; x++) {
      row[x + 2] = plane[r0 + x] + plane[r4 + x] + 4 * (plane[r1 + x] + plane[r3 + x]) + 6 * plane[r2 + x];
    }
    row[1] = row[2 + mirror(-1, width)];
    row[0] = row[2 + mirror(-2, width)];
    row[width + 2] = row[2 + mirror(width, width)];
    row[width + 3] = row[2 + mirror(width + 1, width)];
    const start = y * half.width;
    for (let x = 0, i = 0; x < half.width; x++, i += 2) {
      out[start + x] = (row[i] + row[i + 4] + 4 * (row[i + 1] + row[i + 3]) + 6 * row[i + 2]) / 256;
    }
  }
  return out;
}

/** Adds `sign` times the expansion of `coarse` to `fine`: [1 6 1]/8 at even, [4 4]/8 at odd pixels. */
function expandInto(coarse: Float32Array, fine: Float32Array, { width, height }: Size, sign: 1 | -1): void {
  const half = halfSize({ width, height });
  const row = new Float32Array(half.width + 2);
  for (let y = 0; y < height; y++) {
    const j = y >> 1;
    const here = j * half.width;
    const below = Math.min(half.height - 1, j + 1) * half.width;
    if (y & 1) {
      for (let x = 0; x < half.width; x++) row[x + 1] = 4 * (coarse[here + x] + coarse[below + x]);
    } else {
      const above = mirror(j - 1, half.height) * half.width;
      const under = mirror(j + 1, half.height) * half.width;
      for (let x = 0; x < half.width; x++)
        row[x + 1] = coarse[above + x] + coarse[under + x] + 6 * coarse[here + x];
    }
    row[0] = row[1 + mirror(-1, half.width)];
    row[half.width + 1] = row[half.width];
    const start = y * width;
    const unit = sign / 64;
    for (let x = 0; x < width; x++) {
      const i = (x >> 1) + 1;
      fine[start + x] += unit * (x & 1 ? 4 * (row[i] + row[i + 1]) : row[i - 1] + row[i + 1] + 6 * row[i]);
    }
  }
}

/** Index mirrored about the ends without repeating them. */
function mirror(index: number, length: number): number {
  if (length === 1) return 0;
  const back = index < 0 ? -index : index;
  return back < length ? back : Math.max(0, 2 * length - 2 - back);
}

/** One plane of samples, shape (rows, cols). */
export interface Plane {
  width: number;
  height: number;
  data: Float32Array;
}

/**
 * Half-size plane by the 5-tap kernel 1/16 [1 4 6 4 1] in both directions (Burt & Adelson 1983, a = 0.375),
 * borders mirrored about the edge pixel. Size rounds up.
 */
export function reduce({ width, height, data }: Plane): Plane {
  const halfWidth = (width + 1) >> 1;
  const halfHeight = (height + 1) >> 1;
  const rows = new Float32Array(halfWidth * height);
  const line = new Float32Array(width + 5);
  for (let y = 0; y < height; y++) {
    fillMirrored(line, data, y * width, width);
    for (let x = 0, to = y * halfWidth, i = 0; x < halfWidth; x++, to++, i += 2) {
      rows[to] = (line[i] + line[i + 4] + 4 * (line[i + 1] + line[i + 3]) + 6 * line[i + 2]) / 16;
    }
  }
  const out = new Float32Array(halfWidth * halfHeight);
  for (let y = 0; y < halfHeight; y++) {
    const [r0, r1, r2, r3, r4] = [-2, -1, 0, 1, 2].map((dy) => mirror(2 * y + dy, height) * halfWidth);
    for (let x = 0, to = y * halfWidth; x < halfWidth; x++, to++) {
      out[to] = (rows[r0 + x] + rows[r4 + x] + 4 * (rows[r1 + x] + rows[r3 + x]) + 6 * rows[r2 + x]) / 16;
    }
  }
  return { width: halfWidth, height: halfHeight, data: out };
}

/** Plane of the given size from its half-size plane: the same kernel on samples spread with zeros, times 4. */
export function expand(half: Plane, width: number, height: number): Plane {
  const rows = new Float32Array(width * half.height);
  for (let y = 0; y < half.height; y++) {
    const from = y * half.width;
    for (let x = 0, to = y * width; x < width; x++, to++) {
      const centre = x >> 1;
      const right = half.data[from + Math.min(centre + 1, half.width - 1)];
      rows[to] =
        x % 2 === 0
          ? (half.data[from + Math.abs(centre - 1)] + 6 * half.data[from + centre] + right) / 8
          : (half.data[from + centre] + right) / 2;
    }
  }
  const data = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    const centre = (y >> 1) * width;
    const above = Math.abs((y >> 1) - 1) * width;
    const below = Math.min((y >> 1) + 1, half.height - 1) * width;
    const to = y * width;
    if (y % 2 === 0) {
      for (let x = 0; x < width; x++)
        data[to + x] = (rows[above + x] + 6 * rows[centre + x] + rows[below + x]) / 8;
    } else {
      for (let x = 0; x < width; x++) data[to + x] = (rows[centre + x] + rows[below + x]) / 2;
    }
  }
  return { width, height, data };
}

/** Low-pass pyramid of `levels` planes, finest first; the first is `plane` itself. */
export function gaussianPyramid(plane: Plane, levels: number): Plane[] {
  const pyramid = [plane];
  for (let level = 1; level < levels; level++) pyramid.push(reduce(pyramid[level - 1]));
  return pyramid;
}

/** Band-pass pyramid of `levels` planes, finest first; the last is the low-pass remainder. */
export function laplacianPyramid(plane: Plane, levels: number): Plane[] {
  const pyramid = gaussianPyramid(plane, levels);
  for (let level = 0; level < levels - 1; level++) {
    const { width, height, data } = pyramid[level];
    const band = expand(pyramid[level + 1], width, height);
    for (let i = 0; i < data.length; i++) band.data[i] = data[i] - band.data[i];
    pyramid[level] = band;
  }
  return pyramid;
}

/** The plane whose band-pass pyramid is given. */
export function collapse(pyramid: readonly Plane[]): Plane {
  let sum = pyramid[pyramid.length - 1];
  for (let level = pyramid.length - 2; level >= 0; level--) {
    const { width, height, data } = pyramid[level];
    sum = expand(sum, width, height);
    for (let i = 0; i < data.length; i++) sum.data[i] += data[i];
  }
  return sum;
}

/** Levels that leave a remainder of at least 16 px on its shorter side. */
export function levelsFor(width: number, height: number): number {
  return Math.max(2, Math.floor(Math.log2(Math.min(width, height) / 16)) + 1);
}

/** Index mirrored about the first and the last sample. */
function mirror(index: number, size: number): number {
  const inside = Math.abs(index);
  return inside < size ? inside : Math.max(0, 2 * (size - 1) - inside);
}

function fillMirrored(line: Float32Array, data: Float32Array, from: number, width: number): void {
  line.set(data.subarray(from, from + width), 2);
  for (const x of [-2, -1, width, width + 1, width + 2]) line[x + 2] = data[from + mirror(x, width)];
}

import { momentCount, tileMoments } from './match-tile.js';

/** One level of a band-passed pyramid; pixel (x, y) lies at ((x + 0.5) * 2^level - 0.5, ...) of level 0. */
export interface BandLevel {
  width: number;
  height: number;
  /** (height, width): difference of Gaussians, 8-bit levels, zero mean. */
  band: Float32Array;
  /** Side of the square tiles that motion is judged on, pixels of this level. */
  tile: number;
  tilesX: number;
  tilesY: number;
  /** (tilesY, tilesX): mean square of the band over each tile. */
  tileEnergy: Float32Array;
  /** Energy of the quietest twentieth of the tiles, as far as it can be noise. */
  noiseEnergy: number;
  /** (tiles, momentCount): each tile's normal matrix as a reference, filled when it is first asked for. */
  tileMoments: Float64Array;
  hasMoments: Uint8Array;
}

/** Buffers that every pyramid of one size shares while it is being filled. */
export interface PyramidScratch {
  luma: Float32Array[];
  smooth: Float32Array;
  rows: Float32Array[];
}

/** The coarsest level is the first whose longer side is at most this: small enough to search exhaustively. */
const coarsestSide = 110;
/** Small tiles follow defocus that changes along a slanted surface; a tile still holds some six periods of the band. */
const tileByLevel = [16, 16, 16, 16, 12];

/** Energy of the band that noise may have at most: white noise of 2 levels. Above it is texture. */
const mostNoiseEnergy = 0.4;

export function createBandPyramid(width: number, height: number): BandLevel[] {
  const levels: BandLevel[] = [];
  let w = width;
  let h = height;
  for (;;) {
    const tile = Math.min(tileByLevel[levels.length] ?? 12, w, h);
    const tilesX = Math.floor(w / tile);
    const tilesY = Math.floor(h / tile);
    levels.push({
      width: w,
      height: h,
      band: new Float32Array(w * h),
      tile,
      tilesX,
      tilesY,
      tileEnergy: new Float32Array(tilesX * tilesY),
      noiseEnergy: 0,
      tileMoments: new Float64Array(tilesX * tilesY * momentCount),
      hasMoments: new Uint8Array(tilesX * tilesY),
    });
    if (Math.max(w, h) <= coarsestSide || Math.min(w, h) < 24) return levels;
    w >>= 1;
    h >>= 1;
  }
}

export function createPyramidScratch(levels: readonly BandLevel[]): PyramidScratch {
  const { width } = levels[0];
  return {
    luma: levels.map((level) => new Float32Array(level.width * level.height)),
    smooth: new Float32Array(levels[0].width * levels[0].height),
    rows: Array.from({ length: 5 }, () => new Float32Array(width)),
  };
}

/** Fills all levels from the luma in `scratch.luma[0]`. */
export function fillBandPyramid(levels: readonly BandLevel[], scratch: PyramidScratch): void {
  for (let n = 0; n < levels.length; n++) {
    const { width, height, band } = levels[n];
    smoothBinomial(scratch.luma[n], scratch.smooth, width, height, scratch.rows);
    subtractWider(scratch.smooth, band, width, height, scratch.rows);
    measureTiles(levels[n]);
    const next = levels[n + 1];
    // [1 2 1]/4 and then the mean of two is [1 3 3 1]/8: no second filter is needed before halving.
    if (next) halve(scratch.smooth, width, scratch.luma[n + 1], next.width, next.height);
  }
}

/** out = [1 2 1]/4 in x and y; borders repeat the edge pixel. */
function smoothBinomial(
  source: Float32Array,
  out: Float32Array,
  width: number,
  height: number,
  rows: readonly Float32Array[],
): void {
  const last = width - 1;
  const blurRow = (y: number, row: Float32Array) => {
    const start = y * width;
    row[0] = 0.75 * source[start] + 0.25 * source[start + Math.min(1, last)];
    row[last] = 0.75 * source[start + last] + 0.25 * source[start + Math.max(0, last - 1)];
    for (let x = 1, i = start + 1; x < last; x++, i++) {
      row[x] = 0.5 * source[i] + 0.25 * (source[i - 1] + source[i + 1]);
    }
  };
  let above = rows[0];
  let here = rows[1];
  let below = rows[2];
  blurRow(0, here);
  above.set(here);
  for (let y = 0; y < height; y++) {
    if (y + 1 < height) blurRow(y + 1, below);
    else below.set(here);
    const start = y * width;
    for (let x = 0; x < width; x++) out[start + x] = 0.5 * here[x] + 0.25 * (above[x] + below[x]);
    const spare = above;
    above = here;
    here = below;
    below = spare;
  }
}

/** out = smooth - [1 0 2 0 1]/4 of smooth in x and y: a band around 6 pixels per period. */
function subtractWider(
  smooth: Float32Array,
  out: Float32Array,
  width: number,
  height: number,
  rows: readonly Float32Array[],
): void {
  const last = width - 1;
  const at = (y: number) => rows[((y % 5) + 5) % 5];
  const blurRow = (y: number) => {
    const row = at(y);
    const start = Math.min(Math.max(y, 0), height - 1) * width;
    for (let x = 0; x < Math.min(2, width); x++) row[x] = edge(start, x);
    for (let x = Math.max(2, last - 1); x < width; x++) row[x] = edge(start, x);
    for (let x = 2, i = start + 2; x < last - 1; x++, i++) {
      row[x] = 0.5 * smooth[i] + 0.25 * (smooth[i - 2] + smooth[i + 2]);
    }
  };
  const edge = (start: number, x: number) =>
    0.5 * smooth[start + x] +
    0.25 * (smooth[start + Math.max(0, x - 2)] + smooth[start + Math.min(last, x + 2)]);
  for (let y = -2; y < 2; y++) blurRow(y);
  for (let y = 0; y < height; y++) {
    blurRow(y + 2);
    const above = at(y - 2);
    const here = at(y);
    const below = at(y + 2);
    const start = y * width;
    for (let x = 0; x < width; x++) {
      out[start + x] = smooth[start + x] - 0.5 * here[x] - 0.25 * (above[x] + below[x]);
    }
  }
}

function halve(source: Float32Array, width: number, out: Float32Array, outWidth: number, outHeight: number) {
  for (let y = 0; y < outHeight; y++) {
    let i = 2 * y * width;
    let o = y * outWidth;
    for (let x = 0; x < outWidth; x++, i += 2, o++) {
      out[o] = 0.25 * (source[i] + source[i + 1] + source[i + width] + source[i + width + 1]);
    }
  }
}

function measureTiles(level: BandLevel): void {
  const { band, width, tile, tilesX, tilesY, tileEnergy } = level;
  level.hasMoments.fill(0);
  const scale = 1 / (tile * tile);
  for (let ty = 0; ty < tilesY; ty++) {
    for (let tx = 0; tx < tilesX; tx++) {
      let sum = 0;
      for (let y = 0; y < tile; y++) {
        const start = (ty * tile + y) * width + tx * tile;
        for (let i = start; i < start + tile; i++) sum += band[i] * band[i];
      }
      tileEnergy[ty * tilesX + tx] = sum * scale;
    }
  }
  const sorted = tileEnergy.slice().sort();
  level.noiseEnergy = Math.min(mostNoiseEnergy, sorted[Math.floor(sorted.length / 20)] ?? 0);
}

/** Top left pixel of a tile, moved inward by one at the border where its gradients need a pixel around it. */
export function tileOrigin(level: BandLevel, index: number): [number, number] {
  const { tile, tilesX, width, height } = level;
  const x = (index % tilesX) * tile;
  const y = Math.floor(index / tilesX) * tile;
  return [Math.min(Math.max(1, x), width - 1 - tile), Math.min(Math.max(1, y), height - 1 - tile)];
}

/** Where the moments of a tile lie in `tileMoments`; they are computed once and serve every pair of the frame. */
export function momentsAt(level: BandLevel, index: number): number {
  const at = index * momentCount;
  if (!level.hasMoments[index]) {
    const [x0, y0] = tileOrigin(level, index);
    tileMoments(level.band, level.width, x0, y0, level.tile, level.tileMoments, at);
    level.hasMoments[index] = 1;
  }
  return at;
}

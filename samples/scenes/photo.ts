import { fillBehind } from '../fill-behind.js';
import type { Scene, SceneSize, Surface } from '../scene.js';
import { decodeLight } from '../sensor.js';

/** A photograph that is sharp throughout, with the depth of its pixels. */
export interface Photo {
  width: number;
  height: number;
  /** sRGB bytes, (height, width, 3). */
  rgb: Uint8Array;
  /** Steps behind the nearest plane of focus, (height, width); NaN where unknown. */
  depth: Float32Array;
}

/** Part of the known disparities at each end that may lie outside the span: maps hold a few wild values. */
const wildPart = 0.002;

/**
 * Depths of a disparity map, (height, width), for a stack of `frames`: linear, the greatest disparity nearest, all but
 * wild ones spread over `spanSteps` steps in the middle of the stack. `unknown` is the value of pixels without one.
 */
export function depthFromDisparity(
  disparity: ArrayLike<number>,
  frames: number,
  spanSteps: number,
  unknown = 0,
): Float32Array {
  const known = Float32Array.from(disparity)
    .filter((value) => value !== unknown)
    .sort();
  const least = known[Math.floor(wildPart * (known.length - 1))];
  const most = known[Math.ceil((1 - wildPart) * (known.length - 1))];
  const perStep = most > least ? spanSteps / (most - least) : 0;
  const start = (frames - 1 - spanSteps) / 2;
  return Float32Array.from({ length: disparity.length }, (_, i) => {
    const clipped = Math.min(most, Math.max(least, disparity[i]));
    return disparity[i] === unknown ? Number.NaN : start + (most - clipped) * perStep;
  });
}

/**
 * The photograph as a subject: what it shows at the depths given, mirrored past its edges, and behind each depth edge
 * the farther side going on. Unknown depths are taken from the farther neighbour and marked in `known`.
 */
export function photoScene(size: SceneSize, photo: Photo): Scene {
  const { width, height, rgb } = photo;
  const known = Uint8Array.from(photo.depth, (value) => (Number.isNaN(value) ? 0 : 255));
  const filled = fillUnknown(photo.depth, width, height);
  const light = Float32Array.from({ length: 256 }, (_, i) => decodeLight(i / 255));
  const across = size.width + 2 * size.margin;
  const down = size.height + 2 * size.margin;
  const surface: Surface = {
    rgba: new Float32Array(across * down * 4),
    depth: new Float32Array(across * down),
  };
  for (let row = 0; row < down; row++) {
    const y = mirror(row - size.margin, height);
    for (let column = 0; column < across; column++) {
      const from = y * width + mirror(column - size.margin, width);
      const to = row * across + column;
      for (let channel = 0; channel < 3; channel++) {
        surface.rgba[4 * to + channel] = light[rgb[3 * from + channel]];
      }
      surface.rgba[4 * to + 3] = 1;
      surface.depth[to] = filled[from] - size.nearSteps;
    }
  }
  return { surfaces: [surface, fillBehind(surface, size, size.margin)], strands: [], known };
}

/** Reflects an index at the ends of [0, count), the end pixels not repeated. */
function mirror(index: number, count: number): number {
  const period = 2 * (count - 1) || 1;
  const i = ((index % period) + period) % period;
  return i < count ? i : period - i;
}

/** Gives each unknown run of a row the farther depth of its two ends, then evens out streaks between rows. */
function fillUnknown(depth: Float32Array, width: number, height: number): Float32Array {
  const filled = depth.slice();
  for (let y = 0; y < height; y++) {
    const row = filled.subarray(y * width, (y + 1) * width);
    let start = 0;
    while (start < width) {
      if (!Number.isNaN(row[start])) {
        start++;
        continue;
      }
      let end = start;
      while (end < width && Number.isNaN(row[end])) end++;
      const left = start > 0 ? row[start - 1] : -Infinity;
      const right = end < width ? row[end] : -Infinity;
      const value = Math.max(left, right);
      // A row without any known depth copies the one above.
      if (value === -Infinity)
        row.set(y > 0 ? filled.subarray((y - 1) * width, y * width) : new Float32Array(width));
      else row.fill(value, start, end);
      start = end;
    }
  }
  return evenColumns(filled, depth, width, height);
}

/** Replaces each filled depth by the median of nine filled or known ones above and below it. */
function evenColumns(filled: Float32Array, depth: Float32Array, width: number, height: number): Float32Array {
  const out = filled.slice();
  const column = new Float32Array(9);
  for (let y = 4; y < height - 4; y++) {
    for (let x = 0; x < width; x++) {
      if (!Number.isNaN(depth[y * width + x])) continue;
      for (let i = 0; i < 9; i++) column[i] = filled[(y + i - 4) * width + x];
      out[y * width + x] = column.slice().sort()[4];
    }
  }
  return out;
}

import ops from 'ndarray-ops';
import sharp from 'sharp';
import { invertMatrix, type Matrix3 } from '../../../src/image/transform.js';
import { viewOf } from '../../../src/image/view.js';
import type { Raster } from '../raster.js';
import type { Scene } from '../scene.js';
import type { Plane } from './pyramid.js';

/** A frame carried to the anchor's framing and light: planes on the 8-bit scale. */
export interface AlignedFrame {
  /** Place in capture order, from 0. */
  index: number;
  red: Plane;
  green: Plane;
  blue: Plane;
  grey: Plane;
}

/**
 * The frames of a scene one by one, warped by the given frame → anchor transforms (bicubic, borders mirrored)
 * and scaled by one factor so that the mean grey equals the anchor's over the area both show.
 */
export async function* alignedFrames(
  scene: Scene,
  transforms: readonly Matrix3[],
): AsyncGenerator<AlignedFrame> {
  const { width, height, anchor } = scene.record;
  const anchorFrame = await decode(scene.framePaths[anchor - 1]);
  const anchorGrey = greyOf(toPlanes(anchorFrame, width, height));
  for (const [index, path] of scene.framePaths.entries()) {
    const bytes = index === anchor - 1 ? anchorFrame : await decode(path);
    const inverse = invertMatrix(transforms[index]);
    const planes =
      index === anchor - 1 ? toPlanes(bytes, width, height) : warp(bytes, width, height, inverse);
    const grey = greyOf(planes);
    const gain = greyGain(anchorGrey, grey, inverse);
    for (const plane of [...planes, grey]) ops.mulseq(viewOf(plane.data, plane), gain);
    yield { index, red: planes[0], green: planes[1], blue: planes[2], grey };
  }
}

/** A raster from three planes on the 8-bit scale, rounded and clipped to 16 bits. */
export function toRaster(red: Plane, green: Plane, blue: Plane): Raster {
  const rgb = new Uint16Array(red.data.length * 3);
  for (const [c, { data }] of [red, green, blue].entries()) {
    for (let i = 0; i < data.length; i++)
      rgb[3 * i + c] = Math.min(65535, Math.max(0, Math.round(data[i] * 257)));
  }
  return { width: red.width, height: red.height, rgb };
}

async function decode(path: string): Promise<Uint8Array> {
  return sharp(path, { ignoreIcc: true }).removeAlpha().toColourspace('srgb').raw().toBuffer();
}

type Planes = [Plane, Plane, Plane];

function emptyPlanes(width: number, height: number): Planes {
  const plane = () => ({ width, height, data: new Float32Array(width * height) });
  return [plane(), plane(), plane()];
}

function toPlanes(bytes: Uint8Array, width: number, height: number): Planes {
  const planes = emptyPlanes(width, height);
  const picture = viewOf(bytes, { width, height }, 3);
  for (const [c, plane] of planes.entries()) {
    ops.addeq(viewOf(plane.data, plane), picture.pick(null, null, c));
  }
  return planes;
}

function greyOf([red, green, blue]: Planes): Plane {
  const data = new Float32Array(red.data.length);
  for (let i = 0; i < data.length; i++) {
    data[i] = 0.299 * red.data[i] + 0.587 * green.data[i] + 0.114 * blue.data[i];
  }
  return { width: red.width, height: red.height, data };
}

/** Anchor's mean grey over the frame's, every fourth pixel of the area that the frame shows. */
function greyGain(anchorGrey: Plane, grey: Plane, inverse: Matrix3): number {
  const { width, height } = grey;
  let anchorSum = 0;
  let sum = 0;
  for (let y = 0; y < height; y += 4) {
    for (let x = 0; x < width; x += 4) {
      const fx = inverse[0] * x + inverse[1] * y + inverse[2];
      const fy = inverse[3] * x + inverse[4] * y + inverse[5];
      if (fx < 0 || fy < 0 || fx > width - 1 || fy > height - 1) continue;
      anchorSum += anchorGrey.data[y * width + x];
      sum += grey.data[y * width + x];
    }
  }
  return anchorSum / sum;
}

/** Keys' cubic, a = -0.5: weights of the four samples about the fraction `t`, 256 phases. */
const phases = Float32Array.from({ length: 257 * 4 }, (_, i) => {
  const distance = Math.abs((i >> 2) / 256 + 1 - (i & 3));
  return distance < 1
    ? 1.5 * distance ** 3 - 2.5 * distance ** 2 + 1
    : -0.5 * distance ** 3 + 2.5 * distance ** 2 - 4 * distance + 2;
});

/** `inverse` carries an anchor pixel to the frame. */
function warp(bytes: Uint8Array, width: number, height: number, inverse: Matrix3): Planes {
  const planes = emptyPlanes(width, height);
  const [red, green, blue] = planes.map(({ data }) => data);
  const columns = new Int32Array(4);
  for (let y = 0, to = 0; y < height; y++) {
    for (let x = 0; x < width; x++, to++) {
      const fx = inverse[0] * x + inverse[1] * y + inverse[2];
      const fy = inverse[3] * x + inverse[4] * y + inverse[5];
      const left = Math.floor(fx);
      const top = Math.floor(fy);
      const px = Math.round((fx - left) * 256) * 4;
      const py = Math.round((fy - top) * 256) * 4;
      for (let k = 0; k < 4; k++) columns[k] = 3 * mirrorEdge(left - 1 + k, width);
      let r = 0;
      let g = 0;
      let b = 0;
      for (let j = 0; j < 4; j++) {
        const row = 3 * width * mirrorEdge(top - 1 + j, height);
        for (let k = 0; k < 4; k++) {
          const weight = phases[py + j] * phases[px + k];
          const at = row + columns[k];
          r += weight * bytes[at];
          g += weight * bytes[at + 1];
          b += weight * bytes[at + 2];
        }
      }
      red[to] = r;
      green[to] = g;
      blue[to] = b;
    }
  }
  return planes;
}

/** Index mirrored at the outer edges of the first and last sample, for up to one width outside. */
function mirrorEdge(index: number, size: number): number {
  if (index < 0) return Math.min(-index - 1, size - 1);
  return index < size ? index : Math.max(0, 2 * size - 1 - index);
}

import type { Raster } from '../raster.js';
import { frameSteps } from '../result.js';
import type { Scene } from '../scene.js';
import { type AlignedFrame, toRaster } from './aligned.js';
import type { Plane } from './pyramid.js';

type Planes = [Plane, Plane, Plane];

function emptyPlanes(width: number, height: number): Planes {
  const plane = () => ({ width, height, data: new Float32Array(width * height) });
  return [plane(), plane(), plane()];
}

/** Floor: the mean of all frames. */
export class MeanOfFrames {
  private readonly sums: Planes;
  private count = 0;

  constructor(width: number, height: number) {
    this.sums = emptyPlanes(width, height);
  }

  add({ red, green, blue }: AlignedFrame): void {
    for (const [c, { data }] of [red, green, blue].entries()) {
      const sum = this.sums[c].data;
      for (let i = 0; i < sum.length; i++) sum[i] += data[i];
    }
    this.count++;
  }

  /** Call once, after the last frame. */
  finish(): Raster {
    for (const { data } of this.sums) for (let i = 0; i < data.length; i++) data[i] /= this.count;
    return toRaster(...this.sums);
  }
}

/** Ceiling for a picture without blending: each pixel from the frame focused nearest to its true depth. */
export class PickByTruth {
  private readonly picked: Planes;
  private readonly frameOf: Uint16Array;

  constructor(scene: Scene) {
    const { width, height, anchor } = scene.record;
    this.picked = emptyPlanes(width, height);
    const steps = frameSteps(scene.record);
    this.frameOf = Uint16Array.from(scene.depth, (depth) => nearestIndex(steps, depth, anchor - 1));
  }

  add({ index, red, green, blue }: AlignedFrame): void {
    const [toRed, toGreen, toBlue] = this.picked.map(({ data }) => data);
    for (let i = 0; i < this.frameOf.length; i++) {
      if (this.frameOf[i] !== index) continue;
      toRed[i] = red.data[i];
      toGreen[i] = green.data[i];
      toBlue[i] = blue.data[i];
    }
  }

  finish(): Raster {
    return toRaster(...this.picked);
  }
}

/** Place of the value nearest to `wanted`; `otherwise` when that is NaN. */
function nearestIndex(values: readonly number[], wanted: number, otherwise: number): number {
  if (Number.isNaN(wanted)) return otherwise;
  let best = 0;
  for (let k = 1; k < values.length; k++) {
    if (Math.abs(values[k] - wanted) < Math.abs(values[best] - wanted)) best = k;
  }
  return best;
}

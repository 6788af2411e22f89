import type { Raster } from '../raster.js';
import { type AlignedFrame, toRaster } from './aligned.js';
import { collapse, gaussianPyramid, laplacianPyramid, levelsFor, type Plane } from './pyramid.js';

/** Spread of the weights about a pixel's depth, frames. */
const sigmaFrames = 0.7;

/**
 * Multi-band blend weighted by depth: frame k weighs exp(-(k - d)² / 2 sigma²) where d is the pixel's depth in
 * frames; the band-pass pyramids of the frames are added under the low-pass pyramids of their weights.
 */
export class DepthWeighted {
  private readonly levels: number;
  private readonly sums: Plane[][] = [];
  private weights: Plane[] = [];

  /** `depthFrames` has shape (rows, cols): depth as a frame number from 0, fractions allowed. */
  constructor(
    private readonly depthFrames: Float32Array,
    width: number,
    height: number,
  ) {
    this.levels = levelsFor(width, height);
  }

  /** Adds a frame; frames may come in any order. */
  add(frame: AlignedFrame): void {
    const { width, height } = frame.grey;
    const data = new Float32Array(this.depthFrames.length);
    for (let i = 0; i < data.length; i++) {
      const away = frame.index - this.depthFrames[i];
      // The floor keeps every weight sum above zero.
      data[i] = Math.exp((-away * away) / (2 * sigmaFrames * sigmaFrames)) + 1e-6;
    }
    const weights = gaussianPyramid({ width, height, data }, this.levels);
    for (const [c, plane] of [frame.red, frame.green, frame.blue].entries()) {
      const bands = laplacianPyramid(plane, this.levels);
      for (const [level, { data: band }] of bands.entries()) {
        const weight = weights[level].data;
        for (let i = 0; i < band.length; i++) band[i] *= weight[i];
      }
      if (this.sums[c] === undefined) this.sums[c] = bands;
      else addPyramid(this.sums[c], bands);
    }
    if (this.weights.length === 0) this.weights = weights;
    else addPyramid(this.weights, weights);
  }

  /** The composite of the frames added. Call once, after the last frame. */
  finish(): Raster {
    const planes = this.sums.map((pyramid) => {
      for (const [level, { data }] of pyramid.entries()) {
        const weight = this.weights[level].data;
        for (let i = 0; i < data.length; i++) data[i] /= weight[i];
      }
      return collapse(pyramid);
    });
    return toRaster(planes[0], planes[1], planes[2]);
  }
}

function addPyramid(sum: Plane[], addend: readonly Plane[]): void {
  for (const [level, { data }] of sum.entries()) {
    const more = addend[level].data;
    for (let i = 0; i < data.length; i++) data[i] += more[i];
  }
}

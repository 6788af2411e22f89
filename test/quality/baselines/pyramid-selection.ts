import { boxSum } from '../metrics/box.js';
import type { Raster } from '../raster.js';
import { type AlignedFrame, toRaster } from './aligned.js';
import { collapse, laplacianPyramid, levelsFor, type Plane } from './pyramid.js';

/**
 * Classical pyramid selection: each band-pass coefficient is taken from the frame whose grey band has the most
 * energy in the 5x5 window about it; the coarsest level is the mean of all frames.
 */
export class PyramidSelection {
  private kept: [Plane[], Plane[], Plane[]] | undefined;
  private readonly energies: Float32Array[] = [];
  private count = 0;

  /** Adds a frame; frames may come in any order. */
  add(frame: AlignedFrame): void {
    const levels = levelsFor(frame.grey.width, frame.grey.height);
    const colours = [frame.red, frame.green, frame.blue].map((plane) => laplacianPyramid(plane, levels));
    const grey = laplacianPyramid(frame.grey, levels);
    for (let level = 0; level < levels - 1; level++) this.select(level, colours, grey[level]);
    const coarsest = levels - 1;
    if (this.kept === undefined) this.kept = colours as [Plane[], Plane[], Plane[]];
    else {
      for (const [c, pyramid] of this.kept.entries()) {
        const sum = pyramid[coarsest].data;
        for (let i = 0; i < sum.length; i++) sum[i] += colours[c][coarsest].data[i];
      }
    }
    this.count++;
  }

  private select(level: number, colours: Plane[][], { width, height, data }: Plane): void {
    const energy = boxSum(
      data.map((value) => value * value),
      width,
      height,
      2,
    );
    if (this.kept === undefined) {
      this.energies[level] = energy;
      return;
    }
    const best = this.energies[level];
    const [red, green, blue] = this.kept.map((pyramid) => pyramid[level].data);
    const [newRed, newGreen, newBlue] = colours.map((pyramid) => pyramid[level].data);
    for (let i = 0; i < energy.length; i++) {
      if (energy[i] <= best[i]) continue;
      best[i] = energy[i];
      red[i] = newRed[i];
      green[i] = newGreen[i];
      blue[i] = newBlue[i];
    }
  }

  /** The composite of the frames added. Call once, after the last frame. */
  finish(): Raster {
    if (this.kept === undefined) throw new Error('Expected at least one frame but none was added');
    const planes = this.kept.map((pyramid) => {
      const coarsest = pyramid[pyramid.length - 1].data;
      for (let i = 0; i < coarsest.length; i++) coarsest[i] /= this.count;
      return collapse(pyramid);
    });
    return toRaster(planes[0], planes[1], planes[2]);
  }
}

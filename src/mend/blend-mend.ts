import type { PixelData, Size } from '../image/image.js';
import { type AlignedRegion, alignRegion, frameFootprint } from '../trace/aligned-region.js';
import { readFrameRegion } from '../trace/frame-region.js';
import type { LocalKernels } from '../trace/local-kernels.js';
import { clipRegion, growRegion, type PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import { blendDelta } from './delta-pyramid.js';
import { growMask, levelsFor, pyramidRadius } from './feather.js';
import { regionBounds, regionMask } from './mend-region.js';
import type { Mend } from './mends-file.js';

/** A part of the composite: interleaved samples, (height, width, channels), full range of their type. */
export interface CompositePart extends PictureRegion {
  pixels: PixelData;
  channels: 1 | 3;
}

/** Reads the footprint of a frame; the viewer gives a reader of its own instead of the decoder. */
export type AlignFrame = (frame: StackFrame, region: PictureRegion) => Promise<AlignedRegion | undefined>;

type MendArea = Pick<Mend, 'region' | 'featherPx'>;

/** The rectangle of the composite that a mend may change: its region and its feather. */
export function mendBounds(mend: MendArea, size: Size): PictureRegion | undefined {
  const core = regionBounds(mend.region, size);
  return core && clipRegion(growRegion(core, Math.floor(mend.featherPx)), size);
}

/** The rectangle of the composite that the blend of a mend reads: its bounds, grown by the radius of the pyramid. */
export function mendWindow(mend: MendArea, size: Size): PictureRegion | undefined {
  const bounds = mendBounds(mend, size);
  const margin = pyramidRadius(levelsFor(mend.featherPx)) + 8;
  return bounds && clipRegion(growRegion(bounds, margin), size);
}

/** Aligns frames by decoding what is needed of the photograph at `pathOf(frame)`. */
export function alignByDecoding(
  kernels: LocalKernels,
  pathOf: (frame: StackFrame) => Promise<string>,
): AlignFrame {
  return async (frame, region) => {
    const footprint = frameFootprint(frame.toFrame, region, frame.size);
    if (!footprint) return undefined;
    const patch = await readFrameRegion(frame, await pathOf(frame), footprint);
    return alignRegion(kernels, patch, frame.size, frame.toFrame, frame.gainRatio, region);
  };
}

/**
 * Blends the aligned frame into a part of the composite, in place: inside the region the frame, beyond the feather
 * the composite bit for bit, between them each band of detail over a distance that suits it.
 *
 * @param part The composite over `mendWindow`.
 * @param aligned The frame over the same window.
 * @returns 1 where the detail comes from the frame now, shape (height, width) of the part.
 */
export function blendMend(part: CompositePart, aligned: AlignedRegion, mend: Mend): Uint8Array {
  const { width, height, channels, pixels } = part;
  const supplied = growMask(regionMask(mend.region, part), width, height, mend.featherPx / 2);
  for (let y = 0; y < height; y++) {
    // The frame knows nothing beyond its edges.
    supplied.fill(0, y * width, y * width + aligned.coveredFrom[y]);
    supplied.fill(0, y * width + Math.max(aligned.coveredFrom[y], aligned.coveredTo[y]), (y + 1) * width);
  }
  const unit = pixels instanceof Uint16Array ? 257 : 1;
  const planes = aligned.planes.slice(0, channels).map((plane, channel) => {
    const difference = new Float32Array(width * height);
    for (let y = 0; y < height; y++) {
      const to = y * width + aligned.coveredTo[y];
      for (let i = y * width + aligned.coveredFrom[y]; i < to; i++) {
        // Kept to the range of samples, so that the overshoot of resampling cannot leave it.
        const value = Math.max(0, Math.min(255, plane[i]));
        difference[i] = value - pixels[i * channels + channel] / unit;
      }
    }
    return difference;
  });
  blendDelta(planes, Float32Array.from(supplied), part, levelsFor(mend.featherPx));
  const maxSample = pixels instanceof Uint16Array ? 65535 : 255;
  planes.forEach((delta, channel) => {
    for (let i = 0; i < delta.length; i++) {
      if (delta[i] === 0) continue;
      const at = i * channels + channel;
      pixels[at] = Math.max(0, Math.min(maxSample, Math.round(pixels[at] + delta[i] * unit)));
    }
  });
  return supplied;
}

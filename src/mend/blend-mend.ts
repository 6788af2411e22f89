import type { PixelData, Size } from '../image/image.js';
import { type AlignedRegion, alignRegion, frameFootprint } from '../trace/aligned-region.js';
import { readFrameRegion } from '../trace/frame-region.js';
import type { LocalKernels } from '../trace/local-kernels.js';
import { clipRegion, growRegion, type PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import { blendDelta } from './delta-pyramid.js';
import { growMask, levelsFor, pyramidRadius, slopeMask } from './feather.js';
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

/** A part of a composite in the place of a frame: it covers all of itself. */
export function alignedPart({ pixels, width, height }: CompositePart): AlignedRegion {
  return {
    width,
    height,
    planes: planesOf(pixels, width * height, pixels instanceof Uint16Array ? 16 : 8),
    coveredFrom: new Int32Array(height),
    coveredTo: new Int32Array(height).fill(width),
  };
}

/** Interleaved samples, grey or RGB, as planes of 0 to 255. */
export function planesOf(pixels: PixelData, count: number, bits: 8 | 16): AlignedRegion['planes'] {
  const unit = bits === 16 ? 257 : 1;
  const channels = pixels.length / count;
  const plane = (channel: number) => {
    const samples = new Float32Array(count);
    const from = Math.min(channel, channels - 1);
    for (let i = 0; i < count; i++) samples[i] = pixels[i * channels + from] / unit;
    return samples;
  };
  return [plane(0), plane(1), plane(2)];
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
  const core = regionMask(mend.region, part);
  const supplied = growMask(core, width, height, mend.featherPx / 2);
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
  const levels = levelsFor(mend.featherPx);
  // The difference is 0 where the frame does not reach: a mask without levels needs no cutting.
  const mask = levels > 0 ? Float32Array.from(supplied) : slopeMask(core, width, height, mend.featherPx);
  blendDelta(planes, mask, part, levels);
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

import { bytesOf, pieceKernels } from '../kernels/piece-kernels.js';
import { minHotExcess } from '../model/constants/model.js';
import { hotRingPx, maxHotCandidates, minHotFrames, samplesAtOnce } from '../model/constants/rail.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { SensorSpot } from './sensor-spot.js';

/** The eight places that a pixel is compared with. */
const ring = [-hotRingPx, 0, hotRingPx]
  .flatMap((dy) => [-hotRingPx, 0, hotRingPx].map((dx) => [dx, dy] as const))
  .filter(([dx, dy]) => dx !== 0 || dy !== 0);

/** Searches for single bright pixels that are fixed on the sensor while the picture changes. */
export interface HotPixelSearch {
  add(frame: DecodedFrame): void;
  /** Pixels that were hot in every frame added, by row; none when fewer than three frames were. */
  found(): SensorSpot[];
}

export function searchHotPixels(): HotPixelSearch {
  let candidates: number[] | undefined;
  let width = 0;
  let frames = 0;
  return {
    add(frame) {
      frames++;
      width = frame.width;
      candidates =
        candidates === undefined ? allHot(frame) : candidates.filter((pixel) => isHot(frame, pixel));
    },
    found() {
      if (frames < minHotFrames || !candidates) return [];
      const spots = candidates.map((pixel) => ({ x: pixel % width, y: Math.floor(pixel / width) }));
      // One defect may light up neighbouring pixels.
      return spots.filter(
        ({ x, y }, i) =>
          !spots
            .slice(Math.max(0, i - 8), i)
            .some((other) => Math.abs(other.x - x) <= 2 && Math.abs(other.y - y) <= 2),
      );
    },
  };
}

/** Pixels of the sensor that are hot in all of these frames. */
export async function findHotPixels(frames: readonly (() => Promise<DecodedFrame>)[]): Promise<SensorSpot[]> {
  const search = searchHotPixels();
  for (const decode of frames) search.add(await decode());
  return search.found();
}

function allHot(frame: DecodedFrame): number[] {
  const { pixels, width, height, channels, bits } = frame;
  const found: number[] = [];
  const aside = hotRingPx * channels;
  const rowSamples = width * channels;
  const kernels = pieceKernels();
  const firstSample = hotRingPx * rowSamples + aside;
  const endSample = (height - hotRingPx) * rowSamples - aside;
  for (let start = firstSample; start < endSample; start += samplesAtOnce) {
    const end = Math.min(endSample, start + samplesAtOnce);
    const part = pixels.subarray(start - aside, end + aside);
    const [samples, out] = kernels.take(part.byteLength, [Uint32Array, end - start]);
    samples.set(bytesOf(part));
    // Most samples fail against their neighbours in the row; only the rest is tested in full.
    const count = kernels.peakSamples({
      samples: samples.byteOffset + aside * pixels.BYTES_PER_ELEMENT,
      bits,
      count: end - start,
      aside,
      excess: excessOf(frame),
      out,
    });
    for (const number of out.subarray(0, count)) {
      const pixel = Math.floor((start + number) / channels);
      const x = pixel % width;
      // Neighbours of samples at the ends of rows lie in other rows.
      if (x < hotRingPx || x >= width - hotRingPx) continue;
      if (found.at(-1) !== pixel && isHot(frame, pixel)) found.push(pixel);
    }
    if (found.length > maxHotCandidates) return [];
  }
  return found;
}

function excessOf({ bits }: DecodedFrame): number {
  return bits === 16 ? minHotExcess * 257 : minHotExcess;
}

function isHot(frame: DecodedFrame, pixel: number): boolean {
  const { pixels, width, channels } = frame;
  const excess = excessOf(frame);
  return Array.from({ length: channels }, (_, c) => pixel * channels + c).some((at) =>
    ring.every(([dx, dy]) => pixels[at] - pixels[at + (dy * width + dx) * channels] >= excess),
  );
}

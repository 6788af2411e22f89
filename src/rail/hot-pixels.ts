import { hotRingPx, maxHotCandidates, minHotExcess, minHotFrames } from '../model/constants/rail.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { SensorSpot } from './sensor-spot.js';

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
  const excess = bits === 16 ? minHotExcess * 257 : minHotExcess;
  const found: number[] = [];
  const aside = hotRingPx * channels;
  for (let y = hotRingPx; y < height - hotRingPx; y++) {
    const end = (y * width + width - hotRingPx) * channels;
    for (let i = (y * width + hotRingPx) * channels; i < end; i++) {
      // Most samples fail against their left neighbour; only the rest is tested in full.
      if (pixels[i] - pixels[i - aside] < excess || pixels[i] - pixels[i + aside] < excess) continue;
      const pixel = Math.floor(i / channels);
      if (found.at(-1) !== pixel && isHot(frame, pixel)) found.push(pixel);
    }
    if (found.length > maxHotCandidates) return [];
  }
  return found;
}

function isHot({ pixels, width, channels, bits }: DecodedFrame, pixel: number): boolean {
  const excess = bits === 16 ? minHotExcess * 257 : minHotExcess;
  for (let c = 0; c < channels; c++) {
    const here = pixels[pixel * channels + c];
    let isAbove = true;
    for (let dy = -hotRingPx; dy <= hotRingPx && isAbove; dy += hotRingPx) {
      for (let dx = -hotRingPx; dx <= hotRingPx; dx += hotRingPx) {
        if (dx === 0 && dy === 0) continue;
        if (here - pixels[(pixel + dy * width + dx) * channels + c] < excess) {
          isAbove = false;
          break;
        }
      }
    }
    if (isAbove) return true;
  }
  return false;
}

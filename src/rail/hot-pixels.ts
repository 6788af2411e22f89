import type { DecodedFrame } from '../stack/decode.js';
import type { SensorSpot } from './sensor-spot.js';

/** Minimum excess of a hot pixel over the samples around it, in every frame, 8-bit levels. */
const minExcess = 24;
/** Distance of the samples that are compared, px: raw conversion spreads a hot pixel over its direct neighbours. */
const ringPx = 2;
/** More candidates are glints of the subject, not defects of a sensor. */
const maxCandidates = 20_000;

/** Searches for single bright pixels that are fixed on the sensor while the picture changes. */
export interface HotPixelSearch {
  add(frame: DecodedFrame): void;
  /** Pixels that were hot in every frame added, by row; none when fewer than three frames were. */
  found(): SensorSpot[];
}

const minFrames = 3;

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
      if (frames < minFrames || !candidates) return [];
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
  const excess = bits === 16 ? minExcess * 257 : minExcess;
  const found: number[] = [];
  const aside = ringPx * channels;
  for (let y = ringPx; y < height - ringPx; y++) {
    const end = (y * width + width - ringPx) * channels;
    for (let i = (y * width + ringPx) * channels; i < end; i++) {
      // Most samples fail against their left neighbour; only the rest is tested in full.
      if (pixels[i] - pixels[i - aside] < excess || pixels[i] - pixels[i + aside] < excess) continue;
      const pixel = Math.floor(i / channels);
      if (found.at(-1) !== pixel && isHot(frame, pixel)) found.push(pixel);
    }
    if (found.length > maxCandidates) return [];
  }
  return found;
}

function isHot({ pixels, width, channels, bits }: DecodedFrame, pixel: number): boolean {
  const excess = bits === 16 ? minExcess * 257 : minExcess;
  for (let c = 0; c < channels; c++) {
    const here = pixels[pixel * channels + c];
    let isAbove = true;
    for (let dy = -ringPx; dy <= ringPx && isAbove; dy += ringPx) {
      for (let dx = -ringPx; dx <= ringPx; dx += ringPx) {
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

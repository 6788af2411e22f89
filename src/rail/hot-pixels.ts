import type { DecodedFrame } from '../stack/decode.js';
import type { SensorSpot } from './sensor-spot.js';

/** A sample must stand this far above all around it, 8-bit levels, in every frame. */
const leastExcess = 24;
/** Samples this far away are compared: developing a raw file spreads a hot pixel over its next neighbours. */
const reach = 2;
/** More are no defects of a sensor but a picture with many glints. */
const mostCandidates = 20_000;

/** Looks for single bright samples that stay where they are on the sensor while the picture changes. */
export interface HotPixelSearch {
  add(frame: DecodedFrame): void;
  /** Places that stood out in every frame added, by row; none when fewer than three were. */
  found(): SensorSpot[];
}

const fewestFrames = 3;

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
      if (frames < fewestFrames || !candidates) return [];
      const places = candidates.map((pixel) => ({ x: pixel % width, y: Math.floor(pixel / width) }));
      // One defect may light up neighbouring pixels.
      return places.filter(
        ({ x, y }, i) =>
          !places
            .slice(Math.max(0, i - 8), i)
            .some((other) => Math.abs(other.x - x) <= 2 && Math.abs(other.y - y) <= 2),
      );
    },
  };
}

/** Pixels of the sensor that are bright in every one of these frames. */
export async function findHotPixels(frames: readonly (() => Promise<DecodedFrame>)[]): Promise<SensorSpot[]> {
  const search = searchHotPixels();
  for (const decode of frames) search.add(await decode());
  return search.found();
}

function allHot(frame: DecodedFrame): number[] {
  const { pixels, width, height, channels, bits } = frame;
  const excess = bits === 16 ? leastExcess * 257 : leastExcess;
  const found: number[] = [];
  const aside = reach * channels;
  for (let y = reach; y < height - reach; y++) {
    const end = (y * width + width - reach) * channels;
    for (let i = (y * width + reach) * channels; i < end; i++) {
      // Most samples fail against their left neighbour: the rest is looked at in full.
      if (pixels[i] - pixels[i - aside] < excess || pixels[i] - pixels[i + aside] < excess) continue;
      const pixel = Math.floor(i / channels);
      if (found.at(-1) !== pixel && isHot(frame, pixel)) found.push(pixel);
    }
    if (found.length > mostCandidates) return [];
  }
  return found;
}

function isHot({ pixels, width, channels, bits }: DecodedFrame, pixel: number): boolean {
  const excess = bits === 16 ? leastExcess * 257 : leastExcess;
  for (let c = 0; c < channels; c++) {
    const here = pixels[pixel * channels + c];
    let stands = true;
    for (let dy = -reach; dy <= reach && stands; dy += reach) {
      for (let dx = -reach; dx <= reach; dx += reach) {
        if (dx === 0 && dy === 0) continue;
        if (here - pixels[(pixel + dy * width + dx) * channels + c] < excess) {
          stands = false;
          break;
        }
      }
    }
    if (stands) return true;
  }
  return false;
}

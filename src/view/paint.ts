import { hatchGrey, tableDepthColour } from '../image/map-colours.js';
import type { RowSource } from '../mend/raster.js';
import type { RunRecord } from '../result/run-record.js';
import type { AlignedRegion } from '../trace/aligned-region.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { readReduced } from './reduce.js';

/** Interleaved 8-bit RGB, (height, width, 3). */
export type Rgb = Uint8Array;

export function paintPicture(source: RowSource, region: PictureRegion, step: number): Rgb {
  const means = readReduced(source, region, step, 'mean');
  const rgb = new Uint8Array(region.width * region.height * 3);
  const unit = source.bits === 16 ? 257 : 1;
  const grey = source.channels < 3;
  for (let i = 0; i < rgb.length; i++) rgb[i] = means[grey ? Math.floor(i / 3) : i] / unit + 0.5;
  return rgb;
}

export function paintAligned(aligned: AlignedRegion | undefined, region: PictureRegion): Rgb {
  const { width, height } = region;
  const rgb = new Uint8Array(width * height * 3);
  for (let y = 0; y < height; y++) {
    const from = aligned?.coveredFrom[y] ?? width;
    const to = aligned?.coveredTo[y] ?? 0;
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (!aligned || x < from || x >= to) {
        rgb.fill(hatchGrey(x + region.x, y + region.y), i * 3, i * 3 + 3);
        continue;
      }
      for (let channel = 0; channel < 3; channel++) {
        rgb[i * 3 + channel] = Math.max(0, Math.min(255, aligned.planes[channel][i] + 0.5));
      }
    }
  }
  return rgb;
}

/** Confidence (of 255) below which depth is only carried over from the surroundings, and is shown dotted. */
const lowConfidence = 25;

/** Depth in colours, the nearest lightest; dotted where confidence is low, hatched where there is none. */
export function paintDepth(
  source: RowSource,
  confidence: RowSource,
  region: PictureRegion,
  step: number,
  range: { near: number; far: number },
): Rgb {
  const span = range.far - range.near || 1;
  const rgb = paintRamp(source, region, step, 'mean', (value) => (range.far - value) / span);
  const trust = readReduced(confidence, region, step, 'mean');
  for (let i = 0; i < trust.length; i++) {
    const x = region.x + (i % region.width);
    const y = region.y + Math.floor(i / region.width);
    if (trust[i] >= lowConfidence || ((x >> 1) + (y >> 1)) % 2 === 0) continue;
    for (let channel = 0; channel < 3; channel++) rgb[i * 3 + channel] *= 0.25;
  }
  return rgb;
}

/** Frames in the colours of depth by their `nearness`, 0 to 1; hatched where there is none. */
export function paintSources(
  source: RowSource,
  region: PictureRegion,
  step: number,
  nearness: ReadonlyMap<number, number>,
): Rgb {
  return paintRamp(source, region, step, 'pick', (number) => nearness.get(number) ?? Number.NaN);
}

/** Confidence in grey, certain is white: in colours it would be taken for depth. */
export function paintConfidence(source: RowSource, region: PictureRegion, step: number): Rgb {
  const values = readReduced(source, region, step, 'mean');
  const rgb = new Uint8Array(values.length * 3);
  for (let i = 0; i < values.length; i++) rgb.fill(values[i] + 0.5, i * 3, i * 3 + 3);
  return rgb;
}

/** Coverage classes in their colours, each but the first with a pattern too, so that colour is not all. */
export function paintCoverage(
  source: RowSource,
  region: PictureRegion,
  step: number,
  record: RunRecord,
): Rgb {
  const picked = readReduced(source, region, step, 'pick');
  const classes = new Map(
    record.maps.coverage.classes.map(({ colour, value }) => [Number.parseInt(colour.slice(1), 16), value]),
  );
  const rgb = new Uint8Array(region.width * region.height * 3);
  for (let y = 0; y < region.height; y++) {
    for (let x = 0; x < region.width; x++) {
      const at = (y * region.width + x) * 3;
      const value = classes.get((picked[at] << 16) | (picked[at + 1] << 8) | picked[at + 2]) ?? 0;
      const isMarked = patternOf(value, x + region.x, y + region.y);
      for (let channel = 0; channel < 3; channel++) {
        const sample = picked[at + channel];
        rgb[at + channel] = isMarked ? (value === 4 ? 70 : sample * 0.55) : sample;
      }
    }
  }
  return rgb;
}

/** Lines across for before-first, upright for after-last, slanted for gap, dots for no-detail, slanted back for out-of-reach. */
function patternOf(value: number, x: number, y: number): boolean {
  if (value === 1) return y % 6 < 2;
  if (value === 2) return x % 6 < 2;
  if (value === 3) return (x + y) % 8 < 2;
  if (value === 4) return x % 6 < 2 && y % 6 < 2;
  if (value === 5) return (((x - y) % 8) + 8) % 8 < 2;
  return false;
}

function paintRamp(
  source: RowSource,
  region: PictureRegion,
  step: number,
  how: 'mean' | 'pick',
  nearnessOf: (value: number) => number,
): Rgb {
  const values = readReduced(source, region, step, how);
  const rgb = new Uint8Array(region.width * region.height * 3);
  for (let y = 0; y < region.height; y++) {
    for (let x = 0; x < region.width; x++) {
      const i = y * region.width + x;
      const nearness = nearnessOf(values[i]);
      if (Number.isNaN(nearness)) {
        rgb.fill(hatchGrey(x + region.x, y + region.y), i * 3, i * 3 + 3);
      } else {
        rgb.set(tableDepthColour(nearness), i * 3);
      }
    }
  }
  return rgb;
}

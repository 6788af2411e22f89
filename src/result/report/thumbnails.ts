import type { Size } from '../../image/image.js';
import { hatchGrey, tableDepthColour } from '../../image/map-colours.js';
import { coverageClasses } from '../coverage.js';
import { bandsOf, type MapRows, mapRows, type PictureRows, passingDepth, pictureRows } from '../rows.js';
import type { Picture } from '../write-composite.js';
import { type DepthRange, finiteRange, type ResultMaps, rangeOfBoth } from '../write-maps.js';

/** A small 8-bit picture for the report. */
export type Thumbnail = Picture & { pixels: Uint8Array };

/** Side in samples of the grid by which a map's pixel is averaged: enough to calm it, quick for any size. */
const samplesPerSide = 4;

/** Size of a thumbnail with `maxSide` pixels at most a side, never larger than the original. */
export function thumbnailSize(size: Size, maxSide: number): Size {
  const ratio = Math.min(1, maxSide / Math.max(size.width, size.height));
  return {
    width: Math.max(1, Math.round(size.width * ratio)),
    height: Math.max(1, Math.round(size.height * ratio)),
  };
}

/** The composite, every pixel the mean of those it stands for. */
export function pictureThumbnail(picture: Picture | PictureRows, maxSide: number): Thumbnail {
  const size = thumbnailSize(picture, maxSide);
  const pixels = pictureThumbnailRows(picture, maxSide, 0, size.height);
  return { pixels, ...size, channels: picture.channels };
}

/** Rows `from` to `to` - 1 of `pictureThumbnail`. */
export function pictureThumbnailRows(
  picture: Picture | PictureRows,
  maxSide: number,
  from: number,
  to: number,
): Uint8Array {
  const { width, channels } = picture;
  const { rows } = pictureRows(picture);
  const size = thumbnailSize(picture, maxSide);
  const small = new Uint8Array(size.width * (to - from) * channels);
  const sums = new Float64Array(size.width * channels);
  const windows = Array.from({ length: size.width }, (_, x) => window(x, size.width, width));
  // Where the pixels start that one of the thumbnail stands for, and where they end.
  const [lefts, rights] = [0, 1].map((side) => Int32Array.from(windows, (edges) => edges[side] * channels));
  for (let y = from; y < to; y++) {
    const [top, bottom] = window(y, size.height, picture.height);
    const pixels = rows(top, bottom);
    const divisor = (bottom - top) * (pixels instanceof Uint16Array ? 257 : 1);
    sums.fill(0);
    for (let row = 0; row < bottom - top; row++) {
      addRow(pixels, row * width * channels, lefts, rights, channels, sums);
    }
    for (let x = 0, at = (y - from) * sums.length; x < size.width; x++) {
      const count = ((rights[x] - lefts[x]) / channels) * divisor;
      for (let channel = 0; channel < channels; channel++, at++) {
        small[at] = Math.round(sums[x * channels + channel] / count);
      }
    }
  }
  return small;
}

/** Adds the samples of a row, from `first` on, to the sums of the pixels of the thumbnail that stand for them. */
function addRow(
  samples: Uint8Array | Uint16Array,
  first: number,
  lefts: Int32Array,
  rights: Int32Array,
  channels: number,
  sums: Float64Array,
): void {
  for (let x = 0; x < lefts.length; x++) {
    const end = first + rights[x];
    let i = first + lefts[x];
    if (channels === 1) {
      let sum = 0;
      for (; i < end; i++) sum += samples[i];
      sums[x] += sum;
      continue;
    }
    let [r, g, b] = [0, 0, 0];
    for (; i < end; i += 3) {
      r += samples[i];
      g += samples[i + 1];
      b += samples[i + 2];
    }
    sums[3 * x] += r;
    sums[3 * x + 1] += g;
    sums[3 * x + 2] += b;
  }
}

/**
 * Depth in colours, the nearest lightest; hatched where there is none.
 *
 * @param range Of the depths; default: it is found out.
 */
export function depthThumbnail(maps: ResultMaps | MapRows, maxSide: number, range?: DepthRange): Thumbnail {
  const rows = mapRows(maps);
  const { min, max } = range ?? rangeOfAll(rows) ?? { min: 0, max: 0 };
  const span = max - min || 1;
  return paint(maps, maxSide, passingDepth(rows), (values, windowOf) => {
    const depth = meanOf(values, maps.width, windowOf);
    return Number.isNaN(depth) ? undefined : tableDepthColour((max - depth) / span);
  });
}

/** Frames in the colours of depth by their `nearness`, 0 to 1; hatched where there is none. */
export function sourcesThumbnail(
  maps: ResultMaps | MapRows,
  nearness: ReadonlyMap<number, number>,
  maxSide: number,
): Thumbnail {
  const colours = new Map([...nearness].map(([number, value]) => [number, tableDepthColour(value)]));
  return paint(maps, maxSide, mapRows(maps).sources, (values, windowOf) =>
    colours.get(values[centreOf(windowOf, maps.width)]),
  );
}

/** Confidence in grey, certain is white. */
export function confidenceThumbnail(maps: ResultMaps | MapRows, maxSide: number): Thumbnail {
  return paint(maps, maxSide, mapRows(maps).confidence, (values, windowOf) => {
    const grey = Math.round(meanOf(values, maps.width, windowOf));
    return [grey, grey, grey];
  });
}

export function coverageThumbnail(maps: ResultMaps | MapRows, maxSide: number): Thumbnail {
  return paint(maps, maxSide, mapRows(maps).coverage, (values, windowOf) => {
    return coverageClasses[values[centreOf(windowOf, maps.width)]]?.rgb;
  });
}

/** Pixels of the original under one of the thumbnail: columns [left, right), rows [top, bottom) of those at hand. */
interface PixelWindow {
  left: number;
  right: number;
  top: number;
  bottom: number;
}

function rangeOfAll(rows: MapRows): DepthRange {
  let range: DepthRange;
  const depthOf = passingDepth(rows);
  for (const [top, bottom] of bandsOf(rows.height))
    range = rangeOfBoth(range, finiteRange(depthOf(top, bottom)));
  return range;
}

function paint<T>(
  full: Size,
  maxSide: number,
  rows: (top: number, bottom: number) => T,
  colourOf: (values: T, windowOf: PixelWindow) => readonly [number, number, number] | undefined,
): Thumbnail {
  const size = thumbnailSize(full, maxSide);
  const pixels = new Uint8Array(size.width * size.height * 3);
  for (let y = 0; y < size.height; y++) {
    const [top, bottom] = window(y, size.height, full.height);
    const values = rows(top, bottom);
    for (let x = 0; x < size.width; x++) {
      const [left, right] = window(x, size.width, full.width);
      const windowOf = { left, right, top: 0, bottom: bottom - top };
      pixels.set(colourOf(values, windowOf) ?? hatch(x, y), (y * size.width + x) * 3);
    }
  }
  return { pixels, ...size, channels: 3 };
}

function window(index: number, size: number, fullSize: number): [number, number] {
  const start = Math.floor((index * fullSize) / size);
  return [start, Math.max(start + 1, Math.floor(((index + 1) * fullSize) / size))];
}

function centreOf({ left, right, top, bottom }: PixelWindow, width: number): number {
  return ((top + bottom) >> 1) * width + ((left + right) >> 1);
}

/** Mean of the numbers on a grid over the window; NaN when most of them are NaN. */
function meanOf(
  values: Float32Array | Uint8Array,
  width: number,
  { left, right, top, bottom }: PixelWindow,
): number {
  const stepX = Math.ceil((right - left) / samplesPerSide);
  const stepY = Math.ceil((bottom - top) / samplesPerSide);
  let sum = 0;
  let present = 0;
  let absent = 0;
  for (let y = top; y < bottom; y += stepY) {
    for (let x = left; x < right; x += stepX) {
      const value = values[y * width + x];
      if (Number.isFinite(value)) {
        sum += value;
        present++;
      } else {
        absent++;
      }
    }
  }
  return present > absent ? sum / present : Number.NaN;
}

function hatch(x: number, y: number): readonly [number, number, number] {
  const grey = hatchGrey(x, y);
  return [grey, grey, grey];
}

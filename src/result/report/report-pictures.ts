import sharp from 'sharp';
import { frameNearness } from '../frame-nearness.js';
import { encodeJpeg } from '../jpeg-file.js';
import type { MapRows, PictureRows } from '../rows.js';
import type { RunRecord } from '../run-record.js';
import { type Picture, profileFits } from '../write-composite.js';
import type { DepthRange, ResultMaps } from '../write-maps.js';
import {
  confidenceThumbnail,
  coverageThumbnail,
  depthThumbnail,
  pictureThumbnail,
  sourcesThumbnail,
  type Thumbnail,
} from './thumbnails.js';

/** Longest side of the report's pictures, px. */
export const compositeSide = 1600;
const mapSide = 800;
const jpegQuality = 85;

/** The pictures of a report, as data URIs. */
export type MapPictures = Record<'depth' | 'sources' | 'confidence' | 'coverage', string>;
export type ReportPictures = MapPictures & Record<'composite', string>;

/** The composite for the report. */
export function compositePicture(composite: Picture | PictureRows, icc: Buffer | undefined): Promise<string> {
  return encodeComposite(pictureThumbnail(composite, compositeSide), icc);
}

/** The same of its thumbnail, with `compositeSide` pixels at most a side. */
export function encodeComposite(thumbnail: Thumbnail, icc: Buffer | undefined): Promise<string> {
  return jpegUri(thumbnail, icc && profileFits(icc, thumbnail.channels) ? icc : undefined);
}

/**
 * The maps for the report.
 *
 * @param range Of the depths; default: it is found out.
 */
export async function mapPictures(
  maps: ResultMaps | MapRows,
  record: Pick<RunRecord, 'frames' | 'direction'>,
  range?: DepthRange,
): Promise<MapPictures> {
  return {
    depth: await mapPicture('depth', maps, record, range),
    sources: await mapPicture('sources', maps, record),
    confidence: await mapPicture('confidence', maps, record),
    coverage: await mapPicture('coverage', maps, record),
  };
}

/** One of the maps for the report: see `mapPictures`. */
export function mapPicture(
  name: keyof MapPictures,
  maps: ResultMaps | MapRows,
  record: Pick<RunRecord, 'frames' | 'direction'>,
  range?: DepthRange,
): Promise<string> {
  switch (name) {
    case 'depth':
      return jpegUri(depthThumbnail(maps, mapSide, range));
    case 'sources':
      return pngUri(sourcesThumbnail(maps, frameNearness(record), mapSide));
    case 'confidence':
      return jpegUri(confidenceThumbnail(maps, mapSide));
    case 'coverage':
      return pngUri(coverageThumbnail(maps, mapSide));
  }
}

async function jpegUri({ pixels, width, height, channels }: Thumbnail, icc?: Buffer): Promise<string> {
  const bytes = await encodeJpeg(pixels, width, height, channels, { icc, quality: jpegQuality });
  return `data:image/jpeg;base64,${bytes.toString('base64')}`;
}

/** Classes and frame numbers keep their sharp borders. */
async function pngUri({ pixels, width, height, channels }: Thumbnail): Promise<string> {
  const bytes = await sharp(pixels, { raw: { width, height, channels } }).png().toBuffer();
  return `data:image/png;base64,${bytes.toString('base64')}`;
}

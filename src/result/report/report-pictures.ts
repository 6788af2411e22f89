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
const compositeSide = 1600;
const mapSide = 800;
const jpegQuality = 85;

/** The pictures of a report, as data URIs. */
export type MapPictures = Record<'depth' | 'sources' | 'confidence' | 'coverage', string>;
export type ReportPictures = MapPictures & Record<'composite', string>;

/** The composite for the report. */
export async function compositePicture(
  composite: Picture | PictureRows,
  icc: Buffer | undefined,
): Promise<string> {
  const profile = icc && profileFits(icc, composite.channels) ? icc : undefined;
  return jpegUri(pictureThumbnail(composite, compositeSide), profile);
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
    depth: await jpegUri(depthThumbnail(maps, mapSide, range)),
    sources: await pngUri(sourcesThumbnail(maps, frameNearness(record), mapSide)),
    confidence: await jpegUri(confidenceThumbnail(maps, mapSide)),
    coverage: await pngUri(coverageThumbnail(maps, mapSide)),
  };
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

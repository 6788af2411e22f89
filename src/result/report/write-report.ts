import { join } from 'node:path';
import sharp from 'sharp';
import { frameNearness } from '../frame-nearness.js';
import { encodeJpeg } from '../jpeg-file.js';
import { throwIfStopped } from '../output-failure.js';
import { writeAside } from '../output-file.js';
import type { MapRows, PictureRows } from '../rows.js';
import type { RunRecord } from '../run-record.js';
import { type Picture, profileFits } from '../write-composite.js';
import type { DepthRange, ResultMaps } from '../write-maps.js';
import { reportPage } from './report-page.js';
import {
  confidenceThumbnail,
  coverageThumbnail,
  depthThumbnail,
  pictureThumbnail,
  sourcesThumbnail,
  type Thumbnail,
} from './thumbnails.js';
import { verdicts } from './verdicts.js';

export const reportFileName = 'report.html';

/** Longest side of the report's pictures, px. */
const compositeSide = 1600;
const mapSide = 800;
const jpegQuality = 85;

export interface ReportInputs {
  composite: Picture | PictureRows;
  /** Profile of the composite, so that the small picture has its colours too. */
  icc?: Buffer | undefined;
  maps: ResultMaps | MapRows;
  signal?: AbortSignal | undefined;
}

/** The pictures of a report, as data URIs. */
export type MapPictures = Record<'depth' | 'sources' | 'confidence' | 'coverage', string>;
export type ReportPictures = MapPictures & Record<'composite', string>;

/**
 * Writes report.html into an open result: one page for people that needs no other file and no network.
 *
 * @returns The verdicts that it begins with.
 * @throws OutputError when it cannot be written; InterruptedError when stopped.
 */
export async function writeReport(dir: string, record: RunRecord, inputs: ReportInputs): Promise<string[]> {
  const { composite, icc, maps, signal } = inputs;
  throwIfStopped(signal);
  const pictures = {
    composite: await compositePicture(composite, icc),
    ...(await mapPictures(maps, record)),
  };
  return writeReportPage(dir, record, pictures, signal);
}

/** The composite for the report. */
export async function compositePicture(
  composite: ReportInputs['composite'],
  icc: ReportInputs['icc'],
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
  maps: ReportInputs['maps'],
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

/** As `writeReport`, of pictures that are made. */
export async function writeReportPage(
  dir: string,
  record: RunRecord,
  pictures: ReportPictures,
  signal?: AbortSignal,
): Promise<string[]> {
  await writeAside(join(dir, reportFileName), reportPage(record, pictures), signal);
  return verdicts(record);
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

import { join } from 'node:path';
import { throwIfStopped } from '../output-failure.js';
import { writeAside } from '../output-file.js';
import type { MapRows, PictureRows } from '../rows.js';
import type { RunRecord } from '../run-record.js';
import type { Picture } from '../write-composite.js';
import type { ResultMaps } from '../write-maps.js';
import { reportPage } from './report-page.js';
import { compositePicture, mapPictures, type ReportPictures } from './report-pictures.js';
import { verdicts } from './verdicts.js';

export const reportFileName = 'report.html';

export interface ReportInputs {
  composite: Picture | PictureRows;
  /** Profile of the composite, so that the small picture has its colours too. */
  icc?: Buffer | undefined;
  maps: ResultMaps | MapRows;
  signal?: AbortSignal | undefined;
}

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

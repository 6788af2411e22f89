import { readdir, stat } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { readRunRecord } from '../result/read-run-record.js';
import { runFileName } from '../result/run-record.js';
import { hasRawEnding } from '../stack/file-kind.js';
import type { FrameExif } from '../stack/frame.js';
import { inspectFile, type Photograph } from '../stack/inspect-file.js';
import { mapLimited } from '../stack/map-limited.js';
import { inspectRaw } from '../stack/raw/inspect-raw.js';
import { countPhotographs, photographNames, readEntries } from './list-folder.js';
import type { ResultEntry, StackFacts } from './protocol.js';
import { pictureAddress } from './thumbnails.js';

const filesAtOnce = 8;
/** A file that says it is larger is not a photograph, px. */
const maxPixels = 1e9;

const formatNames = { jpeg: 'JPEG', png: 'PNG', tiff: 'TIFF', webp: 'WebP', raw: 'raw' } as const;

/** What is known of a folder of photographs, by its listing and the headers of its first and last ones. */
export async function stackFacts(folder: string): Promise<StackFacts> {
  const names = photographNames(await readEntries(folder));
  const sizes = await mapLimited(names, filesAtOnce, (name) =>
    stat(join(folder, name)).then(
      ({ size }) => size,
      () => 0,
    ),
  );
  const ends = [...new Set([names[0], names[names.length >> 1], names[names.length - 1]])];
  const looked = (
    await Promise.all(ends.flatMap((name) => (name === undefined ? [] : [photographOf(folder, name)])))
  ).flatMap((photograph) => (photograph ? [photograph] : []));
  const times = looked.flatMap(({ exif }) => (exif.takenMs === undefined ? [] : [exif.takenMs]));
  const shown = looked[looked.length >> 1];
  return {
    path: folder,
    photographs: countPhotographs(names),
    names,
    takenMs: times.length > 0 ? { first: Math.min(...times), last: Math.max(...times) } : null,
    camera: shown ? cameraName(shown.exif) : null,
    lens: shown?.exif.lens ?? null,
    size: shown?.size ?? null,
    kinds: [...new Set(looked.map(({ format }) => formatNames[format]))],
    sizeBytes: sizes.reduce((sum, size) => sum + size, 0),
    results: await resultsBeside(folder),
  };
}

/** Headers of one photograph; undefined for one that cannot be read. */
async function photographOf(folder: string, name: string): Promise<Photograph | undefined> {
  const isRaw = hasRawEnding(name);
  const inspected = await (isRaw ? inspectRaw : inspectFile)(folder, name, maxPixels).catch(() => undefined);
  return inspected?.kind === 'photograph' ? inspected.photograph : undefined;
}

/** Maker and model, the maker once. */
function cameraName({ make, model }: FrameExif): string | null {
  if (model === undefined) return make ?? null;
  const first = make?.split(' ')[0];
  return first === undefined || model.toLowerCase().startsWith(first.toLowerCase())
    ? model
    : `${make} ${model}`;
}

/** The results beside a folder whose names begin with its own, the latest first. */
export async function resultsBeside(folder: string): Promise<ResultEntry[]> {
  const [parent, name] = [dirname(folder), basename(folder)];
  const names = (await readdir(parent).catch(() => [])).filter((other) => other.startsWith(`${name}-`));
  const found = await Promise.all(names.map((other) => resultAt(join(parent, other))));
  return found.flatMap((result) => (result ? [result] : [])).sort((a, b) => (a.madeAt < b.madeAt ? 1 : -1));
}

/** What a result folder is; undefined for a folder that is none, or cannot be read as one. */
export async function resultAt(path: string): Promise<ResultEntry | undefined> {
  if (!(await stat(join(path, runFileName)).catch(() => undefined))) return undefined;
  const record = await readRunRecord(path).catch(() => undefined);
  if (!record) return undefined;
  return {
    name: basename(path),
    path,
    madeAt: record.startedAt,
    preview: record.preview?.factor ?? null,
    picture: await pictureAddress(join(path, record.composite.file)),
  };
}

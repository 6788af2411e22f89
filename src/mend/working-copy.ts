import { copyFile, mkdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { InputError } from '../errors.js';
import { asOutputError } from '../result/output-failure.js';
import type { Result } from '../result/read-result.js';
import type { MapRows } from '../result/rows.js';
import type { RunRecord } from '../result/run-record.js';
import { writeTiff } from '../result/tiff-file.js';
import type { StoredPicture } from '../result/write-composite.js';
import type { ResultMaps } from '../result/write-maps.js';
import type { PictureRegion } from '../trace/picture-region.js';
import type { CompositePart } from './blend-mend.js';
import { CoverageColours } from './coverage-colours.js';
import { type Content, flatCopy } from './flat-copy.js';
import { flatTiffOf } from './flat-tiff.js';
import { Raster, readRegion, writeRegion } from './raster.js';

/** Folder inside the result being made; gone before it takes its place. */
const workFolder = 'working';

interface Files {
  composite: Raster;
  /** Where a composite lies that is only worked on here; undefined when it lies where it will stay. */
  compositePath: string | undefined;
  depth: Raster;
  sources: Raster;
  confidence: Raster;
  /** In the colours of its classes. */
  coverage: Raster;
}

/**
 * Picture and maps of a result as uncompressed files that are read and changed by parts: memory follows what is
 * mended, not the size of the picture. composite.tif and depth.tif, as a merge writes them, are copied to where they
 * will stay and changed in place, so that all else of them stays byte for byte.
 */
export class WorkingCopy {
  private readonly colours: CoverageColours;

  private constructor(
    private readonly base: Result,
    private readonly dir: string,
    private readonly files: Files,
  ) {
    const { file, classes } = base.record.maps.coverage;
    this.colours = new CoverageColours(classes, join(base.folder, file));
  }

  /**
   * @param base The result of the merge.
   * @param dir The result being made.
   * @throws InputError when a file is missing or damaged; OutputError when the copies cannot be written.
   */
  static async open(base: Result, dir: string): Promise<WorkingCopy> {
    const { composite, maps } = base.record;
    const opened: Raster[] = [];
    const opening = async (raster: Promise<Raster>): Promise<Raster> => {
      const ready = await raster;
      opened.push(ready);
      return ready;
    };
    const copy = (file: string, content: Content) => opening(workedOn(base, dir, file, content));
    try {
      await mkdir(join(dir, workFolder));
      const kept = await keptTiff(base, dir, composite.file, composite.channels, composite.bits);
      if (kept) opened.push(kept);
      const files: Files = {
        composite: kept ?? (await copy(composite.file, 'colour')),
        compositePath: kept ? undefined : workPath(dir, composite.file),
        depth: await opening(openDepth(base, dir)),
        sources: await copy(maps.sources.file, 'grey16'),
        confidence: await copy(maps.confidence.file, 'grey8'),
        coverage: await copy(maps.coverage.file, 'colour'),
      };
      return new WorkingCopy(base, dir, files);
    } catch (error) {
      for (const raster of opened) await raster.close();
      throw error;
    }
  }

  /** The composite over a window. */
  readComposite(window: PictureRegion): CompositePart {
    const { composite } = this.files;
    const pixels = readRegion(composite, window) as CompositePart['pixels'];
    return { ...window, channels: composite.channels as 1 | 3, pixels };
  }

  /** The maps over a window, in arrays of its size. */
  readMaps(window: PictureRegion): ResultMaps {
    const { depth, sources, confidence, coverage } = this.files;
    return {
      width: window.width,
      height: window.height,
      depth: readRegion(depth, window) as Float32Array,
      sources: readRegion(sources, window) as Uint16Array,
      confidence: readRegion(confidence, window) as Uint8Array,
      coverage: this.colours.toIndices(readRegion(coverage, window) as Uint8Array),
    };
  }

  write(window: PictureRegion, pixels: CompositePart['pixels'], maps: ResultMaps): void {
    const { composite, depth, sources, confidence, coverage } = this.files;
    writeRegion(composite, window, pixels);
    writeRegion(depth, window, maps.depth);
    writeRegion(sources, window, maps.sources);
    writeRegion(confidence, window, maps.confidence);
    writeRegion(coverage, window, this.colours.toColours(maps.coverage));
  }

  /** The whole composite; `isInPlace` when it needs no writing any more. */
  get picture(): StoredPicture & { isInPlace: boolean } {
    const { composite, compositePath } = this.files;
    return {
      ...sizeOf(this.base.record),
      channels: composite.channels as 1 | 3,
      path: compositePath ?? join(this.dir, this.base.record.composite.file),
      isInPlace: compositePath === undefined,
      rows: (top, bottom) => rowsOf(composite, top, bottom) as Uint8Array | Uint16Array,
    };
  }

  /** The whole maps. */
  get maps(): MapRows {
    const { depth, sources, confidence, coverage } = this.files;
    return {
      ...sizeOf(this.base.record),
      depth: (top, bottom) => rowsOf(depth, top, bottom) as Float32Array,
      sources: (top, bottom) => rowsOf(sources, top, bottom) as Uint16Array,
      confidence: (top, bottom) => rowsOf(confidence, top, bottom) as Uint8Array,
      coverage: (top, bottom) => this.colours.toIndices(rowsOf(coverage, top, bottom) as Uint8Array),
    };
  }

  /** Waits until the disk holds what stays. */
  sync(): void {
    if (!this.files.compositePath) this.files.composite.sync();
    this.files.depth.sync();
  }

  /** Closes all files and removes those that were only worked on. */
  async close(): Promise<void> {
    const { composite, depth, sources, confidence, coverage } = this.files;
    for (const raster of [composite, depth, sources, confidence, coverage]) await raster.close();
    await rm(join(this.dir, workFolder), { recursive: true, force: true });
  }
}

function sizeOf({ size }: RunRecord): { width: number; height: number } {
  return { width: size.width, height: size.height };
}

function rowsOf(raster: Raster, top: number, bottom: number) {
  return readRegion(raster, { x: 0, y: top, width: raster.width, height: bottom - top });
}

function workPath(dir: string, file: string): string {
  return join(dir, workFolder, `${file}.tif`);
}

async function workedOn({ folder, record }: Result, dir: string, file: string, content: Content) {
  const path = join(folder, file);
  const raster = await flatCopy(path, content, workPath(dir, file), 'r+').catch((error: unknown) => {
    if (!(error instanceof InputError)) throw error;
    throw new InputError(`${error.message} Merge the stack again.`, { cause: error });
  });
  const { width, height } = record.size;
  if (raster.width === width && raster.height === height) return raster;
  await raster.close();
  throw new InputError(
    `Expected ${width} x ${height} pixels for ${path} but received ${raster.width} x ${raster.height}. Merge the stack again.`,
  );
}

/** A copy of a TIFF where it will stay; undefined when the file is not as a merge writes it. */
async function keptTiff(
  { folder, record }: Result,
  dir: string,
  file: string,
  channels: number,
  bits: number,
): Promise<Raster | undefined> {
  if (!file.endsWith('.tif')) return undefined;
  const layout = await flatTiffOf(join(folder, file)).catch(() => undefined);
  const { width, height } = record.size;
  const isSame = layout?.width === width && layout.height === height && layout.channels === channels;
  if (!isSame || layout.bits !== bits) return undefined;
  try {
    await copyFile(join(folder, file), join(dir, file));
    return await Raster.open(join(dir, file), 'r+');
  } catch (error) {
    throw asOutputError(error, join(dir, file));
  }
}

/** depth.tif, written anew when some other program has stored it in a way that cannot be changed in place. */
async function openDepth(base: Result, dir: string): Promise<Raster> {
  const { file } = base.record.maps.depth;
  const kept = await keptTiff(base, dir, file, 1, 32);
  if (kept) return kept;
  const { width, height } = base.record.size;
  await writeTiff(join(dir, file), await base.readDepth(), width, height, 1);
  return (await Raster.open(join(dir, file), 'r+'))!;
}

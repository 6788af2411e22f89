import { mkdir } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { asOutputError } from '../result/output-failure.js';
import { writePng } from '../result/png-file.js';
import type { Result } from '../result/read-result.js';
import { depthPngRows } from '../result/write-maps.js';
import { countOf } from '../stack/words.js';
import { LocalKernels } from '../trace/local-kernels.js';
import { findStackFrames } from '../trace/stack-frames.js';
import { hotPixelsOf, openFrames, readAlignedFrame } from './aligned-frame.js';
import type { ExportOptions } from './export-options.js';
import type { ExportedDepth, ExportedFrame, ExportRecord } from './export-record.js';
import { type Layer, type OpenRasterWriter, openOpenRaster } from './open-raster.js';
import { writePartComposites } from './part-composites.js';
import {
  colourPicture,
  type FileContext,
  frameFileName,
  frameLayer,
  writeAlignedFrame,
  writeMask,
} from './write-frames.js';

/** What the parts of an export add to its record. */
export type WrittenParts = Pick<ExportRecord, 'frames' | 'leftOut' | 'layers' | 'runs' | 'depth' | 'notes'>;

const layersFile = 'layers.ora';
const depthFile = 'depth.png';
const maxThumbnailPx = 256;

/** Writes the parts that are asked for into the folder of `context`; see `exportResult`. */
export async function writeParts(
  result: Result,
  options: ExportOptions,
  context: FileContext,
  onProgress?: (done: number, all: number) => void,
): Promise<WrittenParts> {
  const { record } = result;
  const inUse = record.frames.filter(({ used, transform }) => used && transform !== null);
  const supplying = inUse.filter(({ sharePercent }) => sharePercent >= options.minSharePercent);
  const numbers = new Set(supplying.map(({ number }) => number));
  const hasFrames = options.aligned || options.layers;
  const listed = hasFrames || options.masks ? supplying : [];
  const entries = listed.map(
    ({ number, name, sharePercent }): ExportedFrame => ({ number, name, sharePercent }),
  );
  const written: WrittenParts = { frames: entries, leftOut: [], notes: [] };
  if (listed.length > 0)
    written.leftOut = inUse.flatMap(({ number }) => (numbers.has(number) ? [] : [number]));

  const photographs = hasFrames || options.runs ? await findStackFrames(record, options.framesFrom) : [];
  // All are checked before anything is written. Hot pixels are found, and runs merged, from all frames of the merge.
  const frames = await openFrames(photographs, context.signal);
  const steps = (hasFrames ? listed.length : 0) + (options.runs ? frames.length : 0);
  let done = 0;
  const sources = options.masks || options.layers ? await result.readSources() : undefined;
  if (options.masks && sources) await writeMasks(context, entries, sources, result);
  if (hasFrames) await writeFrames();
  if (options.runs) {
    await makeFolder(context, 'runs');
    const { runs, notes } = await writePartComposites(context, record, frames, options.runs, (run, runs) =>
      onProgress?.(done + Math.round((frames.length * run) / runs), steps),
    );
    written.runs = runs;
    written.notes.push(...notes);
  }
  if (options.depth) {
    const { exported, isEmpty } = await writeDepth(result, context);
    written.depth = exported;
    if (isEmpty) written.notes.push(`No pixel has a depth: ${depthFile} holds nothing but 0.`);
  }
  if (written.leftOut.length > 0) written.notes.push(leftOutNote(written.leftOut.length, options));
  return written;

  /** One reading of the frames serves layers and TIFF files. */
  async function writeFrames(): Promise<void> {
    const layers = options.layers && sources ? await openLayers(result, context) : undefined;
    try {
      if (options.aligned) await makeFolder(context, 'aligned');
      const kernels = await LocalKernels.start();
      const hotPixels = await hotPixelsOf(frames);
      for (const entry of entries) {
        context.signal?.throwIfAborted();
        const readable = frames.find(({ frame }) => frame.number === entry.number)!;
        const aligned = await readAlignedFrame(kernels, readable, hotPixels, record);
        entry.reachesAll = aligned.reachesAll;
        if (options.aligned) {
          entry.aligned = `aligned/${frameFileName(entry.number)}.tif`;
          await writeAlignedFrame(context, entry.aligned, aligned, readable);
        }
        if (layers && sources) {
          entry.layer = `data/${frameFileName(entry.number)}.png`;
          await layers.addPicture(entry.layer, frameLayer(context, aligned, sources, entry.number));
        }
        onProgress?.(++done, steps);
      }
      if (layers) {
        await layers.finish(layerList(entries));
        written.layers = layersFile;
      }
    } catch (error) {
      await layers?.abandon();
      throw error;
    }
  }
}

async function writeMasks(
  context: FileContext,
  entries: readonly ExportedFrame[],
  sources: Uint16Array,
  { record: { size } }: Result,
): Promise<void> {
  await makeFolder(context, 'masks');
  for (const entry of entries) {
    entry.mask = `masks/${frameFileName(entry.number)}.png`;
    await writeMask(context, entry.mask, sources, entry.number, size);
  }
}

const compositeLayer = 'data/composite.png';

/** An OpenRaster file that holds the composite already. */
async function openLayers(result: Result, context: FileContext): Promise<OpenRasterWriter> {
  const { folder, record } = result;
  const composite = await result.readComposite();
  const layers = openOpenRaster(join(context.dir, layersFile), record.size, context.signal);
  try {
    const picture = colourPicture(composite, context, () => true);
    await layers.addPicture(compositeLayer, picture);
    await layers.addPicture('mergedimage.png', picture);
    // Colours are converted to those of a screen, as file managers take them.
    const thumbnail = sharp(join(folder, record.composite.file), { limitInputPixels: false })
      .resize(maxThumbnailPx, maxThumbnailPx, { fit: 'inside', withoutEnlargement: true })
      .toColourspace('srgb')
      .png();
    layers.addThumbnail(await thumbnail.toBuffer());
    return layers;
  } catch (error) {
    await layers.abandon();
    throw error;
  }
}

/** Uppermost first: the frames, hidden, in capture order, and below all the composite, so that the file opens as the picture. */
function layerList(entries: readonly ExportedFrame[]): Layer[] {
  const frames = entries.map(({ number, name, sharePercent, layer }) => ({
    name: `Frame ${number}, ${name} (supplied ${sharePercent.toFixed(1)} %)`,
    path: layer!,
    isVisible: false,
  }));
  return [...frames, { name: 'Composite', path: compositeLayer, isVisible: true }];
}

/** Depth as values 1 to 65535 with what they mean, in the file itself and for export.json. */
async function writeDepth(
  result: Result,
  context: FileContext,
): Promise<{ exported: ExportedDepth; isEmpty: boolean }> {
  const { width, height } = result.record.size;
  const { offset, scale, unit } = result.record.maps.depthPng;
  const depth = await result.readDepth();
  const rows = { width, depth: (top: number, bottom: number) => depth.subarray(top * width, bottom * width) };
  const exported: ExportedDepth = {
    file: depthFile,
    unit,
    offset,
    scale,
    noData: 0,
    positive: 'away from the camera',
    zero: 'plane of focus of the anchor',
  };
  const { file: _, ...mapping } = exported;
  await writePng(join(context.dir, depthFile), {
    width,
    height,
    channels: 1,
    bits: 16,
    row: depthPngRows(rows, { offset, scale }),
    software: context.software,
    texts: {
      Description: `Depth: ${offset} + ${scale} * value, in ${unit === 'mm' ? 'mm' : 'steps'}, from the plane of focus of the anchor, positive away from the camera; value 0: none`,
      'Depth mapping': JSON.stringify(mapping),
    },
    signal: context.signal,
  });
  return { exported, isEmpty: depth.every(Number.isNaN) };
}

function leftOutNote(count: number, { minSharePercent }: ExportOptions): string {
  const verbs = count === 1 ? ['supplies', 'is'] : ['supply', 'are'];
  return `${countOf(count, 'frame')} that ${verbs[0]} less than ${minSharePercent} % of the picture ${verbs[1]} left out.`;
}

async function makeFolder({ dir }: FileContext, name: string): Promise<void> {
  await mkdir(join(dir, name)).catch((error: unknown) => {
    throw asOutputError(error, join(dir, name));
  });
}

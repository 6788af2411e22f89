import { existsSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import { availableParallelism, totalmem } from 'node:os';
import { basename } from 'node:path';
import { stackNeeds } from '../batch/estimate.js';
import type { Size } from '../image/image.js';
import { readRunRecord } from '../result/read-run-record.js';
import { resultFolderName } from '../result/result-folder-name.js';
import type { GivenOrder } from '../stack/capture-order.js';
import { readStack } from '../stack/read-stack.js';
import { previewSize } from '../stack/reduce-stack.js';
import type { MergeChoices, MergeForm } from './protocol.js';
import { sceneFile, stackTitle } from './sample.js';
import { resultsBeside } from './stack-facts.js';

/** A merge that takes no longer is its own quick look, seconds by the estimate. */
const quickS = 4;
/** Shorter side that a quick look has at least, px. */
const minPreviewSide = 150;
/** Frames above this are looked at in an eighth of their size, megapixels. */
const largeMegapixels = 40;
/** Names that are tried for a result. */
const maxNames = 1000;

/** What the merge screen shows of a stack before the work. Throws InputError for a folder that is no stack. */
export async function mergeForm(folder: string, order?: GivenOrder): Promise<MergeForm> {
  const stack = await readStack(folder, { order });
  const results = await resultsBeside(folder);
  const out = resultFolderName(folder, undefined);
  const earlier = results.find(({ preview }) => preview === null);
  const { size, frames } = stack;
  const budget = { threads: availableParallelism(), memoryMb: (0.7 * totalmem()) / 1e6 };
  const secondsAt = (shown: Size): number => {
    const { channels, bits } = stack;
    return stackNeeds({ size: shown, frames: frames.length, channels, bits }, budget).modelMs / 1000;
  };
  const estimateS = secondsAt(size);
  const factor = (size.width * size.height) / 1e6 > largeMegapixels ? 8 : 4;
  const small = previewSize(size, factor);
  const hasPreview = estimateS > quickS && Math.min(small.width, small.height) >= minPreviewSide;
  return {
    folder,
    name: stackTitle(folder),
    frames: frames.map(({ number, name, path }) => ({ number, name, path })),
    size,
    warnings: stack.warnings.map(({ message }) => message),
    notes: stack.notes.map(({ message }) => message),
    out: basename(out),
    freeOut: results.some(({ path }) => path === out) ? basename(freePath(out)) : null,
    known: (await sampleScale(folder)) ?? (earlier ? await choicesOf(earlier.path) : {}),
    estimateS,
    preview: hasPreview ? { factor, estimateS: secondsAt(small) } : null,
  };
}

/** The path itself where nothing lies there, else a free one beside it. */
export function freePath(out: string): string {
  if (!existsSync(out)) return out;
  for (let i = 2; i < maxNames; i++) if (!existsSync(`${out}-${i}`)) return `${out}-${i}`;
  return `${out}-${maxNames}`;
}

/** How a result was merged. */
async function choicesOf(result: string): Promise<MergeChoices> {
  const { options } = await readRunRecord(result);
  const { stepMm, fieldWidthMm, rule, anchor, crop, format, direction, skip, order } = options;
  return {
    ...{ stepMm: stepMm ?? null, fieldWidthMm: fieldWidthMm ?? null },
    ...{ rule, anchor, crop, format, direction, skip, order: order ?? null },
  };
}

/** The scale of a stack that was rendered, which its renderer knows; undefined for any other. */
async function sampleScale(folder: string): Promise<MergeChoices | undefined> {
  const file = sceneFile(folder);
  if (file === undefined) return undefined;
  try {
    const scene = JSON.parse(await readFile(file, 'utf8'));
    return {
      stepMm: Number(scene.stepMm.toPrecision(4)),
      fieldWidthMm: Number(scene.fieldWidthMm.toPrecision(4)),
    };
  } catch {
    return undefined;
  }
}

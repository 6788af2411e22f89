import { basename, dirname } from 'node:path';
import { inspectFile, type Photograph } from '../stack/inspect-file.js';
import { inspectRaw } from '../stack/raw/inspect-raw.js';
import type { StackFrame } from './stack-frames.js';

/**
 * What the file of a frame is now, as a merge lists it; a raw file with the development that its result names.
 *
 * @returns Undefined when it is no photograph any more, or larger than `maxPixels`.
 */
export async function framePhotograph(
  { development }: Pick<StackFrame, 'development'>,
  path: string,
  maxPixels: number,
): Promise<Photograph | undefined> {
  const [folder, name] = [dirname(path), basename(path)];
  const inspected = await inspectFile(folder, name, maxPixels);
  const read = inspected.kind === 'raw' ? await inspectRaw(folder, name, maxPixels) : inspected;
  if (read.kind !== 'photograph') return undefined;
  const { photograph } = read;
  if (!photograph.raw || !development) return photograph;
  return { ...photograph, raw: { ...photograph.raw, development } };
}

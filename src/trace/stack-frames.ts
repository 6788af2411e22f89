import { stat } from 'node:fs/promises';
import { basename, dirname, join, resolve } from 'node:path';
import { InputError, named } from '../errors.js';
import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import { compositeToFrame } from '../result/composite-to-frame.js';
import type { RunFrame, RunRecord } from '../result/run-record.js';
import type { FrameReduction } from '../stack/frame.js';
import { hashFile } from '../stack/hash-file.js';
import { inspectFile } from '../stack/inspect-file.js';
import type { Development } from '../stack/raw/development.js';

/** A frame that went into a result, with where its photograph lies now. */
export interface StackFrame {
  number: number;
  name: string;
  /** The folder in which it was looked for. */
  folder: string;
  /** Where the photograph was found; undefined when it is not there. */
  path: string | undefined;
  /** As it was merged: of a preview, the size of the reduced frame. */
  size: Size;
  /** Set where the result is a preview. */
  reduced?: FrameReduction | undefined;
  /** How the merge developed the raw files of the stack; set where this one is a raw file. */
  development?: Development | undefined;
  /** Composite pixel to frame pixel. */
  toFrame: Matrix3;
  gainRatio: readonly [number, number, number];
  /** Its plane of focus, in the unit of the depth map. */
  depth: number | null;
  sha256: string;
}

/**
 * The frames in use of a result, in capture order, looked for where the merge read them or, when given, in
 * `framesFrom` (by their path there, else by their bare name).
 *
 * @throws InputError when `framesFrom` is no folder.
 */
export async function findStackFrames(record: RunRecord, framesFrom?: string): Promise<StackFrame[]> {
  if (framesFrom !== undefined && !(await isFolder(framesFrom))) {
    throw new InputError(`"${framesFrom}" is no folder: give the folder that holds the frames now.`);
  }
  const folder = resolve(framesFrom ?? record.folder);
  const { development } = record;
  return Promise.all(
    record.frames.filter(isPlaced).map(async (frame) => {
      const [r, g = r, b = r] = frame.gainRatio;
      const path = await firstFile([join(folder, frame.path), join(folder, basename(frame.name))]);
      return {
        number: frame.number,
        name: frame.name,
        folder,
        path,
        size: record.frameSize,
        // A result that names no development was made of no raw file.
        development: development && path !== undefined && (await isRawFile(path)) ? development : undefined,
        reduced: record.preview,
        toFrame: compositeToFrame(frame.transform, record.crop),
        gainRatio: [r, g, b] as const,
        depth: frame.depth,
        sha256: frame.sha256,
      };
    }),
  );
}

type PlacedFrame = RunFrame & { transform: Matrix3 };

function isPlaced(frame: RunFrame): frame is PlacedFrame {
  return frame.used && frame.transform !== null;
}

/**
 * The photograph of a frame, checked to be the one that was merged.
 *
 * @throws InputError when it is missing, or its bytes changed since the merge.
 */
export async function requireUnchanged(frame: StackFrame): Promise<string> {
  if (frame.path === undefined) {
    throw new InputError(
      `Frame ${frame.number} (${frame.name}) is not in "${frame.folder}". If the frames moved, say where with ${named('framesFrom')} FOLDER.`,
    );
  }
  if ((await hashFile(frame.path)) !== frame.sha256) {
    throw new InputError(
      `Frame ${frame.number} (${frame.path}) has changed since the merge: its SHA-256 differs from the one in run.json. Put the original back, or say where it lies with ${named('framesFrom')} FOLDER.`,
    );
  }
  return frame.path;
}

async function isRawFile(path: string): Promise<boolean> {
  return (await inspectFile(dirname(path), basename(path), Number.POSITIVE_INFINITY)).kind === 'raw';
}

async function isFolder(path: string): Promise<boolean> {
  return stat(path).then(
    (found) => found.isDirectory(),
    () => false,
  );
}

async function firstFile(paths: readonly string[]): Promise<string | undefined> {
  for (const path of paths) {
    const found = await stat(path).catch(() => undefined);
    if (found?.isFile()) return path;
  }
  return undefined;
}

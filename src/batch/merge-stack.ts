import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import {
  InputError,
  LamellaError,
  OutputError,
  SystemError,
  type SystemFault,
  UsageError,
} from '../errors.js';
import { carryMends } from '../mend/carry-mends.js';
import { mergeFolder } from '../merge/merge.js';
import type { GrowingPicture, MergeOutcome } from '../merge/merge-api.js';
import type { MergeEvent } from '../merge/merge-event.js';
import { encodeJpeg } from '../result/jpeg-file.js';
import { readRunRecord } from '../result/read-run-record.js';
import { profileFits } from '../result/write-composite.js';
import { hasPictureEnding } from '../stack/file-kind.js';
import { ChangedFrameError } from '../stack/frame-identity.js';
import { someNames } from '../stack/words.js';
import { systemFailureOf } from '../system-failure.js';
import type { FailureKind, StackReport } from './night-events.js';
import { resultFacts } from './result-state.js';
import { changedInputs, unseenInputs } from './stack-inputs.js';
import type { StackEnd, StackJob, StackPicture } from './stack-job.js';

/** Longer side of the pictures on the page of the night, px. */
const thumbnailSide = 320;

/** JPEG quality of the picture while it grows, 1 to 100. */
const growingQuality = 85;

class ChangedStackError extends InputError {}

class UnseenStackError extends InputError {}

/**
 * Merges one stack in this process. Never rejects: whatever happens becomes the end of the stack.
 * A stack whose files changed while they were read leaves no result.
 */
export async function mergeStack(
  job: StackJob,
  onEvent: (event: MergeEvent) => void,
  signal: AbortSignal,
  onPicture?: (picture: StackPicture) => void,
): Promise<StackEnd> {
  try {
    refuseUnseen(job);
    const outcome = await mergeFolder(
      job.folder,
      { ...job.options, out: job.out },
      {
        signal,
        isUnattended: true,
        ...(onPicture && { onPicture: pictureSender(onPicture) }),
        onEvent(event) {
          onEvent(event);
          // All frames are read by now, and nothing is written: what is thrown here ends the merge without a trace.
          if (event.event === 'stage' && event.stage === 'write') refuseChanges(job);
        },
      },
      carryMends,
    );
    return { state: 'done', report: await reportOn(job, outcome) };
  } catch (error) {
    return signal.aborted ? { state: 'stopped' } : failureOf(job, error);
  }
}

/** Sends pictures as JPEG; one that is still being made is not overtaken by the next. */
function pictureSender(send: (picture: StackPicture) => void): (picture: GrowingPicture) => void {
  let sending = Promise.resolve();
  return ({ pixels, width, height, done, frames, icc }) => {
    const profile = icc && profileFits(icc, 3) ? icc : undefined;
    sending = sending
      .then(() => encodeJpeg(pixels, width, height, 3, { icc: profile, quality: growingQuality }))
      .then((jpeg) => send({ jpeg: jpeg.toString('base64'), done, frames }))
      // A picture that is not shown is no loss.
      .catch(() => {});
  };
}

/** A failure as its batch records it; that the files changed explains more than what came of it. */
function failureOf(job: StackJob, error: unknown): StackEnd {
  let cause: unknown = systemFailureOf(error) ?? error;
  try {
    if (error instanceof InputError) refuseUnseen(job);
    if (error instanceof InputError) refuseChanges(job);
  } catch (change) {
    cause = change;
  }
  if (cause instanceof LamellaError) return { state: 'failed', kind: kindOf(cause), reason: cause.message };
  const trace = cause instanceof Error ? (cause.stack ?? cause.message) : String(cause);
  return { state: 'failed', kind: 'defect', reason: `A defect of Lamella, please report it: ${trace}` };
}

/** What more memory, or less to do at once, would mend. */
const memoryFaults: ReadonlySet<SystemFault> = new Set(['memory', 'worker-memory', 'address-space']);

function kindOf(error: LamellaError): FailureKind {
  if (error instanceof ChangedStackError || error instanceof ChangedFrameError) return 'changed';
  if (error instanceof UnseenStackError) return 'folder';
  if (error instanceof OutputError) return 'output';
  if (error instanceof SystemError) return memoryFaults.has(error.fault) ? 'memory' : 'crash';
  return error instanceof UsageError ? 'options' : 'frames';
}

/** Distinguishes a disk that was taken away, or replaced by another, from photographs that changed. */
function refuseUnseen({ folder, files }: StackJob): void {
  const unseen = unseenInputs(folder, files);
  if (unseen === undefined) return;
  throw new UnseenStackError(
    `The photographs cannot be seen: ${unseen}. Merge them again when they are back.`,
  );
}

function refuseChanges({ folder, files, wholeFolder }: StackJob): void {
  const known = new Set(files.map(({ name }) => name));
  const isNew = (name: string) => !name.startsWith('.') && hasPictureEnding(name) && !known.has(name);
  const names = changedInputs(folder, files);
  if (wholeFolder && names.length === 0) names.push(...readdirSync(folder).filter(isNew));
  if (names.length === 0) return;
  throw new ChangedStackError(
    `The stack changed while it was read: ${someNames(names)}. Merge it again when nothing writes into the folder.`,
  );
}

async function reportOn(
  job: StackJob,
  { wallMs, findings, verdicts, files }: MergeOutcome,
): Promise<StackReport> {
  const record = await readRunRecord(job.out);
  const sha256 = new Map(record.frames.map((frame) => [frame.name, frame.sha256]));
  return {
    frames: record.frames.length,
    framesUsed: record.frames.filter((frame) => frame.used).length,
    size: record.size,
    wallMs,
    findings,
    verdicts,
    warnings: record.warnings,
    notes: record.notes,
    files: job.files.map((file) => ({ ...file, sha256: sha256.get(file.name) ?? null })),
    thumbnail: await thumbnailOf(join(job.out, record.composite.file)),
    result: await resultFacts(job.out, record, files),
  };
}

async function thumbnailOf(composite: string): Promise<string> {
  const jpeg = await sharp(composite, { limitInputPixels: false })
    .resize(thumbnailSide, thumbnailSide, { fit: 'inside', withoutEnlargement: true })
    .toColourspace('srgb')
    .jpeg({ quality: 75 })
    .toBuffer();
  return `data:image/jpeg;base64,${jpeg.toString('base64')}`;
}

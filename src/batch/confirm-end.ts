import { readdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { setTimeout as delay } from 'node:timers/promises';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import type { RunRecord } from '../result/run-record.js';
import type { StackReport } from './night-events.js';
import { isUnchanged, stateOfResult } from './result-state.js';
import type { StackEnd, StackJob } from './stack-job.js';
import { optionsMark } from './stack-options.js';

/** Pauses between looks for the result of another machine: network storage may hand out what it knew before, ms. */
const remotePausesMs = [250, 750, 2000, 5000];

/**
 * A good end counts only when its result is in place, whole, and the one that was reported; otherwise it becomes a
 * failure with the reason. Never rejects.
 *
 * @param where `remote`: another machine merged the stack, whose files may take some seconds to be seen here.
 */
export async function confirmEnd(
  job: StackJob,
  end: StackEnd,
  where: 'here' | 'remote',
  signal?: AbortSignal,
): Promise<StackEnd> {
  if (end.state !== 'done') return end;
  const parent = dirname(job.out);
  let fault = await disagreement(job, end.report);
  for (const pauseMs of where === 'remote' ? remotePausesMs : []) {
    if (fault === undefined || signal?.aborted) break;
    await delay(pauseMs, undefined, { signal }).catch(() => undefined);
    // Listing a folder makes a network file system ask its server anew.
    await readdir(parent).catch(() => undefined);
    fault = await disagreement(job, end.report);
  }
  if (fault === undefined) return end;
  const reporter = where === 'here' ? 'Its process' : `The worker${end.host ? ` on ${end.host}` : ''}`;
  const question =
    where === 'here' ? '' : ` Does ${parent} lie on storage that all machines share, under the same path?`;
  return {
    state: 'failed',
    kind: 'output',
    reason: `${reporter} reported a good end, but ${fault}.${question}`,
  };
}

/** What of a report is not so, as a clause; undefined when the result bears it out. */
async function disagreement(job: StackJob, report: StackReport): Promise<string | undefined> {
  try {
    const result = await stateOfResult(job.out, report.result);
    if (result.state === 'foreign') return `${job.out} holds the result of another merge`;
    if (result.state === 'damaged') return result.fault;
    const field = differingField(job, report, result.record);
    if (field !== undefined) return `run.json in ${job.out} has other ${field} than were reported`;
    for (const file of report.result?.files ?? []) {
      const path = join(job.out, file.name);
      if (!(await isUnchanged(path, file))) return `${path} is not the file that was reported`;
    }
    return undefined;
  } catch (error) {
    return `${job.out} cannot be read: ${error instanceof Error ? error.message : String(error)}`;
  }
}

function differingField(job: StackJob, report: StackReport, record: RunRecord): string | undefined {
  const hashes = new Map(record.frames.map(({ name, sha256 }) => [name, sha256]));
  const expected: Record<string, [unknown, unknown]> = {
    photographs: [record.folder, job.folder],
    options: [markOf(record.options), optionsMark(job.options)],
    frames: [record.frames.length, report.frames],
    'frames in use': [record.frames.filter(({ used }) => used).length, report.framesUsed],
    pixels: [
      [record.size.width, record.size.height],
      [report.size.width, report.size.height],
    ],
    warnings: [record.warnings, report.warnings],
    notes: [record.notes, report.notes],
    files: [
      job.files.map((file) => ({ ...file, sha256: hashes.get(file.name) ?? null })).map(fileText),
      report.files.map(fileText),
    ],
  };
  return Object.keys(expected).find((name) => {
    const [found, reported] = expected[name];
    return JSON.stringify(found) !== JSON.stringify(reported);
  });
}

function fileText({ name, sizeBytes, modifiedMs, changedMs, sha256 }: StackReport['files'][number]): string {
  return [name, sizeBytes, modifiedMs, changedMs, sha256].join(' ');
}

/** Options are recorded as they were resolved, which resolving again does not change. */
function markOf(options: MergeOptions): string {
  return optionsMark(resolveOptions(options));
}

import { createHash } from 'node:crypto';
import { filesMark } from './settled-stacks.js';
import type { StackJob } from './stack-job.js';
import { optionsMark } from './stack-options.js';

/**
 * 64 hex digits for a job: the same for the same photographs, options and place on any machine. It names the job in a
 * queue, so that a stack is never there twice, and in the night list, by which a worker knows that its batch wants it.
 */
export function jobMark(job: StackJob): string {
  const { folder, out, options, wholeFolder } = job;
  const parts = [folder, out, optionsMark(options), String(wholeFolder), filesMark(job)];
  return createHash('sha256').update(JSON.stringify(parts)).digest('hex');
}

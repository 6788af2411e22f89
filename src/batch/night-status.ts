import { resolve } from 'node:path';
import { leavesOutMany } from '../check/judge-merge.js';
import { InputError } from '../errors.js';
import type { LockHolder } from '../result/lock-file.js';
import { countOf, spanText } from '../stack/words.js';
import { livingHolder } from './batch-lock.js';
import { clockText } from './format-night.js';
import { lookReasons, nightListName } from './night-events.js';
import { readNightList } from './night-list.js';
import { isToLookAt, type NightState, nightState } from './night-state.js';

/** How a batch stands, from its night list and its lock alone. */
export interface NightStatus {
  out: string;
  /** The process that runs it now. */
  holder: LockHolder | undefined;
  night: NightState;
  /** `look` counts those of `done` whose picture something spoils, `incomplete` those that lack more than a fifth of the frames. */
  counts: Record<'done' | 'look' | 'incomplete' | 'failed' | 'running' | 'waiting' | 'putOff', number>;
  /** Time until the end by the estimates, ms, as if stacks were merged one after another. */
  leftMs: number;
}

/**
 * Reads how a batch stands; another process may be running it.
 *
 * @param out Folder of the batch's results.
 * @param now The time from which what is left is counted.
 * @throws InputError when `out` holds no batch.
 */
export async function readStatus(out: string, now = new Date()): Promise<NightStatus> {
  const path = resolve(out);
  const events = await readNightList(path);
  if (!events) {
    throw new InputError(
      `${out} is no folder of a batch: it has no ${nightListName}. Name the folder in which a batch puts its results.`,
    );
  }
  const night = nightState(events);
  const holder = await livingHolder(path);
  const counts = { done: 0, look: 0, incomplete: 0, failed: 0, running: 0, waiting: 0, putOff: 0 };
  let leftMs = 0;
  for (const stack of night.stacks.values()) {
    const { planned, state, start } = stack;
    if (isToLookAt(stack)) counts.look++;
    if (state === 'done' && leavesOutMany(stack.done?.findings ?? [])) counts.incomplete++;
    const isRunning = state === 'running' && holder !== undefined;
    if (isRunning) {
      counts.running++;
      leftMs += Math.max(0, planned.estimateMs - (now.getTime() - Date.parse(start?.at ?? '')));
    } else if (state === 'running' || state === 'waiting') {
      counts.waiting++;
      leftMs += planned.estimateMs;
    } else {
      counts[state === 'put off' ? 'putOff' : state]++;
    }
  }
  return { out: path, holder, night, counts, leftMs };
}

/** The status in lines for people. */
export function statusLines({ out, holder, night, counts, leftMs }: NightStatus, now = new Date()): string[] {
  const lines = [holder ? runningLine(holder) : (night.end?.reason ?? interruptedLine(night))];
  const { done, look, failed, running, waiting, putOff } = counts;
  const total = countOf(night.stacks.size, 'stack');
  const parts = [
    `${done} of ${total} merged${look > 0 ? ` (${look} of them to look at)` : ''}`,
    `${failed} failed`,
  ];
  if (putOff > 0) parts.push(`${putOff} put off`);
  if (running > 0) parts.push(`${running} in work`);
  if (waiting > 0) parts.push(`${waiting} to go`);
  // What takes longer than estimated has no time left that anybody knows.
  const left = holder && leftMs > 0 ? `, about ${spanText(leftMs)} left` : '';
  lines.push(`${parts.join(', ')}${left}.`);
  for (const stack of night.stacks.values()) {
    const { planned, state, start, done: report, failed: failure, putOff: why } = stack;
    if (report && isToLookAt(stack))
      lines.push(`${planned.stack}: merged, but look: ${lookReasons(report).join(' ')}`);
    if (state === 'failed') lines.push(`${planned.stack}: FAILED: ${failure?.reason ?? ''}`);
    if (state === 'put off') lines.push(`${planned.stack}: put off: ${why?.reason ?? ''}`);
    if (state === 'running' && holder) {
      const spent = now.getTime() - Date.parse(start?.at ?? '');
      lines.push(`${planned.stack}: in work for ${spanText(spent)} of about ${spanText(planned.estimateMs)}`);
    }
  }
  lines.push(`The page of the night: ${out}/index.html`);
  return lines;
}

function runningLine({ pid, host, startedAt }: LockHolder): string {
  return `Running: process ${pid} on ${host}, started ${clockText(new Date(startedAt))}.`;
}

function interruptedLine(night: NightState): string {
  return night.batch
    ? 'Not running, and it did not end by itself: run the same command again to go on.'
    : 'Not running: nothing was begun.';
}

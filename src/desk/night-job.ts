import { basename } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { BatchEvent } from '../batch/batch-events.js';
import type { BatchOptions } from '../batch/batch-options.js';
import type { BatchOutcome } from '../batch/run-batch.js';
import { stageTitles } from '../merge/stage-titles.js';
import type { Desk } from './desk.js';
import { startJobProcess } from './job-process.js';
import type { JobEnd, JobOrder } from './job-table.js';

const childFile = fileURLToPath(new URL('../../dist/desk/night-child.js', import.meta.url));

/** A batch that was asked to stop and still lives after this time is ended. */
const killMs = 10_000;

/** What the process of a night is given. */
export interface NightTask {
  type: 'run';
  root: string;
  options: BatchOptions;
}

export type NightCommand = NightTask | { type: 'stop' };

/** What it sends. */
export type NightMessage =
  | { type: 'event'; event: BatchEvent }
  | { type: 'end'; outcome: BatchOutcome }
  | { type: 'failed'; message: string };

/** A night as a job: a batch in a process of its own, which ends when the desk does and goes on when it is run again. */
export function nightOrder(desk: Desk, task: Omit<NightTask, 'type'>, out: string): JobOrder {
  return {
    ...{ kind: 'night', title: basename(task.root), folder: task.root, out },
    begin(change) {
      const { child, send, stop } = startJobProcess<NightCommand>(childFile, 'pipe', killMs);
      let end: JobEnd = {
        state: 'failed',
        message: 'The process of the batch died. Start it again to go on.',
      };
      let isStopped = false;
      const doing = new Map<string, string>();
      let [done, total, leftMs] = [0, 1, 0];
      child.on('message', (message: NightMessage) => {
        if (message.type === 'failed') end = { state: 'failed', message: message.message };
        else if (message.type === 'end') {
          const { state } = message.outcome;
          end = { state: state === 'interrupted' ? 'cancelled' : 'done', message: endText(message.outcome) };
        } else hear(message.event);
      });
      const hear = (event: BatchEvent): void => {
        if (event.event === 'search') change({ stage: 'Looking for stacks' });
        if (event.event === 'begin') doing.set(event.planned.stack, 'Starting');
        if (event.event === 'merge' && event.merge.event === 'stage')
          doing.set(event.stack, stageTitles[event.merge.stage]);
        if (event.event === 'plan') {
          total = Math.max(1, event.toDo + event.faults);
          leftMs = event.estimateMs;
        }
        if (event.event === 'whole') {
          done = event.done + event.failed;
          ({ total, leftMs } = event);
        }
        if (event.event === 'done' || event.event === 'failed') doing.delete(event.stack);
        if (['start', 'done', 'failed', 'put-off', 'end', 'batch'].includes(event.event))
          desk.events.send('night', { out });
        if (event.event === 'search') return;
        const stage = [...doing].map(([stack, what]) => `${stack}: ${what.toLowerCase()}`).join('; ');
        change({ share: done / total, leftS: leftMs > 0 ? leftMs / 1000 : null, ...(stage && { stage }) });
      };
      send({ type: 'run', ...task });
      const ended = new Promise<JobEnd>((resolve) => {
        child.once('error', (error) => resolve({ state: 'failed', message: `${error.message}.` }));
        child.once('close', () => {
          desk.events.send('night', { out });
          resolve(isStopped && end.state === 'failed' ? { state: 'cancelled', message: stoppedText } : end);
        });
      });
      return {
        ended,
        stop() {
          isStopped = true;
          stop();
        },
      };
    },
  };
}

const stoppedText = 'Stopped: finished stacks are kept. Start it again to go on.';

function endText({ state, done, failed, putOff, look }: BatchOutcome): string {
  if (state === 'interrupted') return stoppedText;
  if (state === 'no disk')
    return 'The disk has no room for the stacks that are left. Free some space and start again.';
  const parts = [`${done} merged`];
  if (look > 0) parts.push(`${look} of them to look at`);
  if (failed > 0) parts.push(`${failed} failed`);
  if (putOff > 0) parts.push(`${putOff} put off`);
  return `${parts.join(', ')}.`;
}

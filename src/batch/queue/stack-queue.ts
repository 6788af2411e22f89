import { createHash } from 'node:crypto';
import { Queue, QueueEvents } from 'bullmq';
import type { MergeEvent } from '../../merge/options.js';
import { isResultFolder } from '../../result/unfinished.js';
import { filesMark } from '../quiet-stacks.js';
import type { StackEnd, StackJob, StackRun, StartStack } from '../stack-job.js';
import { optionsMark } from '../stack-options.js';
import {
  connectionTo,
  type QueuedEnd,
  type QueuedStack,
  queueName,
  requireServer,
} from './queue-connection.js';

/** Ends that no batch came for are forgotten after a week. */
const keepS = 7 * 86_400;

/** Events may be missed while the server is away: stacks are asked after this often. */
const askMs = 5000;

interface Awaited {
  onEvent: (event: MergeEvent) => void;
  settle: (end: StackEnd) => void;
}

/** The side of the queue on which a batch hands out stacks and waits for their ends. */
export class StackQueue {
  private readonly awaited = new Map<string, Awaited>();
  private readonly asking: NodeJS.Timeout;

  private constructor(
    private readonly queue: Queue<QueuedStack, QueuedEnd>,
    private readonly events: QueueEvents,
    private readonly priority: number,
  ) {
    events.on('progress', ({ jobId, data }) =>
      this.awaited.get(jobId)?.onEvent(data as unknown as MergeEvent),
    );
    events.on('completed', ({ jobId }) => void this.ask(jobId));
    events.on('failed', ({ jobId }) => void this.ask(jobId));
    this.asking = setInterval(() => {
      for (const id of this.awaited.keys()) void this.ask(id);
    }, askMs);
  }

  /**
   * @param priority 1 (first) to 100: which batch's stacks go first when workers are short.
   * @param onTrouble Told when the server goes away; work goes on when it is back.
   * Throws UsageError for a wrong address, OutputError when the server does not answer.
   */
  static async open(
    url: string,
    priority: number,
    onTrouble: (message: string) => void,
  ): Promise<StackQueue> {
    await requireServer(url);
    const connection = connectionTo(url);
    const queue = new Queue<QueuedStack, QueuedEnd>(queueName, { connection });
    const events = new QueueEvents(queueName, { connection });
    queue.on('error', ({ message }) => onTrouble(message));
    events.on('error', ({ message }) => onTrouble(message));
    await Promise.all([queue.waitUntilReady(), events.waitUntilReady()]);
    return new StackQueue(queue, events, priority);
  }

  /** Hands a stack to whichever worker is free next. */
  readonly start: StartStack = (job, onEvent): StackRun => {
    const id = jobId(job);
    let settle: (end: StackEnd) => void = () => {};
    const ended = new Promise<StackEnd>((resolve) => {
      settle = (end) => {
        this.awaited.delete(id);
        resolve(end);
      };
    });
    this.awaited.set(id, { onEvent, settle });
    this.hand(id, job).catch((error: unknown) => settle(queueFailure(error)));
    return {
      pid: null,
      ended,
      stop: () => {
        settle({ state: 'stopped' });
        // One that a worker has begun is held by it: it goes on, and the next batch finds its end.
        this.queue.remove(id).catch(() => undefined);
      },
    };
  };

  async close(): Promise<void> {
    clearInterval(this.asking);
    await Promise.allSettled([this.events.close(), this.queue.close()]);
  }

  private async hand(id: string, job: StackJob): Promise<void> {
    const before = await this.queue.getJob(id);
    const state = await before?.getState();
    if (before && (state === 'completed' || state === 'failed')) {
      // A stack that was merged while no batch listened counts, as long as its result is there.
      const stands = before.returnvalue?.state === 'done' && (await isResultFolder(job.out));
      if (stands) return this.ask(id);
      await before.remove();
    }
    const stack = job.folder;
    await this.queue.add(
      'stack',
      { stack, frames: job.files.length, job },
      { jobId: id, priority: this.priority, removeOnComplete: { age: keepS }, removeOnFail: { age: keepS } },
    );
  }

  /** Looks whether a stack has ended, and takes its end off the queue. */
  private async ask(id: string): Promise<void> {
    const waiting = this.awaited.get(id);
    if (!waiting) return;
    try {
      const job = await this.queue.getJob(id);
      const state = await job?.getState();
      if (!job || (state !== 'completed' && state !== 'failed')) return;
      waiting.settle(state === 'completed' ? job.returnvalue : lostEnd(job.failedReason));
      await job.remove();
    } catch {
      // The server is away: asked again later.
    }
  }
}

/** The same for the same photographs, options and place, so that a stack is never in the queue twice. */
function jobId(job: StackJob): string {
  return createHash('sha256')
    .update(`${job.out}\n${optionsMark(job.options)}\n${filesMark(job)}`)
    .digest('hex');
}

function lostEnd(reason: string): StackEnd {
  return {
    state: 'failed',
    kind: 'crash',
    reason: `The workers that took it died, one after another (${reason}). Look at their machines, then run with --retry.`,
  };
}

function queueFailure(error: unknown): StackEnd {
  const reason = error instanceof Error ? error.message : String(error);
  return { state: 'failed', kind: 'crash', reason: `It cannot be put into the queue: ${reason}.` };
}

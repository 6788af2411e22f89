import { hostname } from 'node:os';
import { Queue, QueueEvents } from 'bullmq';
import type { MergeEvent } from '../../merge/merge-event.js';
import { optionName } from '../../option-names.js';
import { countOf } from '../../stack/words.js';
import { programVersion } from '../../version.js';
import { confirmEnd } from '../confirm-end.js';
import { jobMark } from '../job-mark.js';
import type { StackEnd, StackJob, StackRun, StartStack } from '../stack-job.js';
import { connectionTo, queueName, requireServer } from './queue-connection.js';
import {
  type QueuedStack,
  type Refusal,
  readAnswer,
  readMergeEvent,
  type WorkerAnswer,
} from './queue-messages.js';

/** Ends that no batch came for are forgotten after a week. */
const keepS = 7 * 86_400;

/** Events may be missed while the server is away: stacks are asked after this often. */
const askMs = 5000;

/** A stack that one worker refused waits this long for another, ms: longer than that one takes to refuse the next. */
const refusedMs = 3000;

interface Awaited {
  job: StackJob;
  /** False until the queue holds it, and while it is handed in again. */
  isHanded: boolean;
  onEvent: (event: MergeEvent) => void;
  settle: (end: StackEnd) => void;
  /** Names of the workers that do not take it. */
  refusedBy: Set<string>;
}

/** The side of the queue on which a batch hands out stacks and waits for their ends. */
export class StackQueue {
  private readonly awaited = new Map<string, Awaited>();
  private readonly asking: NodeJS.Timeout;
  /** Worker and kind of the refusals that were emitted: one that cannot take a stack takes no other either. */
  private readonly emitted = new Set<string>();
  private isAskingAll = false;
  private hasLooked = false;
  private isClosed = false;

  private constructor(
    private readonly queue: Queue<QueuedStack, unknown>,
    private readonly events: QueueEvents,
    private readonly priority: number,
    private readonly emit: (message: string) => void,
  ) {
    events.on('progress', ({ jobId, data }) => {
      const event = readMergeEvent(data);
      if (event) this.awaited.get(jobId)?.onEvent(event);
    });
    events.on('completed', ({ jobId }) => void this.ask(jobId));
    events.on('failed', ({ jobId }) => void this.ask(jobId));
    this.asking = setInterval(() => void this.askAll(), askMs);
  }

  /**
   * @param priority 1 (first) to 100: which batch's stacks go first when workers are short.
   * @param emit Gets a sentence when the server goes away or lost stacks, or a worker refuses one; work goes on.
   * Throws UsageError for a wrong address, OutputError when the server does not answer.
   */
  static async open(url: string, priority: number, emit: (message: string) => void): Promise<StackQueue> {
    await requireServer(url);
    const connection = connectionTo(url);
    const queue = new Queue<QueuedStack, unknown>(queueName, { connection });
    const events = new QueueEvents(queueName, { connection });
    // What is emitted as an error may come from the server's own stream of events, and be anything.
    queue.on('error', (error: unknown) => emit(`The queue: ${messageOf(error)}`));
    events.on('error', (error: unknown) => emit(`The queue: ${messageOf(error)}`));
    await Promise.all([queue.waitUntilReady(), events.waitUntilReady()]);
    return new StackQueue(queue, events, priority, emit);
  }

  /** Hands a stack to whichever worker is free next. */
  readonly start: StartStack = (job, onEvent): StackRun => {
    const id = jobMark(job);
    let settle: (end: StackEnd) => void = () => {};
    const ended = new Promise<StackEnd>((resolve) => {
      settle = (end) => {
        this.awaited.delete(id);
        resolve(end);
      };
    });
    const awaited: Awaited = { job, isHanded: false, onEvent, settle, refusedBy: new Set() };
    this.awaited.set(id, awaited);
    this.handNew(id, awaited).catch((error: unknown) => settle(queueFailure(error)));
    return {
      pid: null,
      ended,
      stop: () => {
        settle({ state: 'stopped' });
        // One that a worker has begun is held by it: it goes on, and the next batch finds its end.
        this.queue.remove(id).catch(() => undefined);
      },
      recorded: () => void this.queue.remove(id).catch(() => undefined),
    };
  };

  async close(): Promise<void> {
    this.isClosed = true;
    clearInterval(this.asking);
    await Promise.allSettled([this.events.close(), this.queue.close()]);
  }

  private async handNew(id: string, awaited: Awaited): Promise<void> {
    // What cannot be read, whoever wrote it, makes room for the stack.
    const before = await this.queue.getJob(id).catch(() => this.queue.remove(id).then(() => undefined));
    const state = await before?.getState();
    if (before && state !== undefined && ['completed', 'failed', 'unknown'].includes(state)) {
      // A stack that was merged while no batch listened counts, as long as its result is there.
      const end = state === 'completed' && goodEnd(before.returnvalue);
      if (end && (await confirmEnd(awaited.job, end, 'here')).state === 'done') return awaited.settle(end);
      await before.remove();
    }
    await this.add(id, awaited);
  }

  private async add(id: string, awaited: Awaited, delayMs = 0): Promise<void> {
    const { job } = awaited;
    const queued: QueuedStack = {
      ...{ programVersion: programVersion(), host: hostname() },
      ...{ stack: job.folder, frames: job.files.length, job },
    };
    const keep = { removeOnComplete: { age: keepS }, removeOnFail: { age: keepS } };
    await this.queue.add('stack', queued, {
      ...{ jobId: id, priority: this.priority, delay: delayMs },
      ...keep,
    });
    awaited.isHanded = true;
  }

  /** Asks after all stacks; those that the queue lost are handed in again. */
  private async askAll(): Promise<void> {
    if (this.isAskingAll) return;
    this.isAskingAll = true;
    try {
      await this.lookForWorkers();
      let lost = 0;
      for (const id of [...this.awaited.keys()]) {
        if ((await this.ask(id)) === 'lost') lost++;
      }
      if (lost > 0) {
        this.emit(
          `The queue lost ${countOf(lost, 'stack')}, as when its server is restarted without its data: handed in again.`,
        );
      }
    } finally {
      this.isAskingAll = false;
    }
  }

  /** Looks whether a stack has ended. Never rejects. */
  private async ask(id: string): Promise<'lost' | undefined> {
    const awaited = this.awaited.get(id);
    if (!awaited?.isHanded) return undefined;
    try {
      const job = await this.queue.getJob(id);
      const state = await job?.getState();
      // Another look may have been quicker.
      if (this.awaited.get(id) !== awaited || !awaited.isHanded) return undefined;
      if (!job || state === 'unknown') {
        awaited.isHanded = false;
        await job?.remove();
        await this.add(id, awaited);
        return 'lost';
      }
      if (state !== 'completed' && state !== 'failed') return undefined;
      if (state === 'failed') awaited.settle(lostEnd(job.failedReason));
      else await this.take(id, awaited, job.returnvalue);
    } catch (error) {
      if (this.isClosed || this.awaited.get(id) !== awaited) return undefined;
      if (isGarbled(error)) {
        awaited.settle(unreadable(messageOf(error)));
      } else {
        // The server is away or busy: asked again later.
        awaited.isHanded = true;
        this.emit(`The queue: ${messageOf(error)}`);
      }
    }
    return undefined;
  }

  private async take(id: string, awaited: Awaited, returned: unknown): Promise<void> {
    const answer = readAnswer(returned);
    if ('fault' in answer) return awaited.settle(unreadable(answer.fault));
    const { end, host } = answer.value;
    if (end.state === 'refused') return this.takeRefusal(id, awaited, answer.value, end);
    const version = versionFault(answer.value);
    if (version !== undefined) {
      return awaited.settle({ state: 'failed', kind: 'options', reason: version });
    }
    awaited.settle(end.state === 'done' ? { ...end, host } : end);
  }

  /** Another worker may be able to do what one cannot; when there is none, waiting for it would be for ever. */
  private async takeRefusal(
    id: string,
    awaited: Awaited,
    { worker, host }: WorkerAnswer,
    { kind, reason }: Refusal,
  ): Promise<void> {
    awaited.isHanded = false;
    awaited.refusedBy.add(worker);
    const sentence = `The worker on ${host} does not take ${awaited.job.folder}: ${reason}`;
    const others = (await this.workers()).filter((name) => !awaited.refusedBy.has(name));
    if (others.length === 0) return awaited.settle({ state: 'failed', kind, reason: sentence });
    if (!this.emitted.has(`${worker} ${kind}`)) this.emit(`${sentence} It is left to another worker.`);
    this.emitted.add(`${worker} ${kind}`);
    await this.queue.remove(id);
    await this.add(id, awaited, refusedMs);
  }

  /** Says once that nobody would ever merge anything. */
  private async lookForWorkers(): Promise<void> {
    if (this.hasLooked || this.awaited.size === 0) return;
    this.hasLooked = true;
    const clients = await this.queue.getWorkers().catch(() => undefined);
    if (clients?.length === 0) {
      this.emit('No worker listens to the queue yet: start lamella worker on the machines that shall merge.');
    }
  }

  /** Names of the workers that listen now; none where the server does not list them. */
  private async workers(): Promise<string[]> {
    const clients = await this.queue.getWorkers().catch(() => []);
    return clients.flatMap(({ rawname }) => /:w:([0-9a-f]{16})$/.exec(rawname ?? '')?.[1] ?? []);
  }
}

/** The end of a stack that a worker of this version merged; undefined for any other. */
function goodEnd(returned: unknown): (StackEnd & { state: 'done' }) | undefined {
  const answer = readAnswer(returned);
  if ('fault' in answer || versionFault(answer.value) !== undefined) return undefined;
  const { end, host } = answer.value;
  return end.state === 'done' ? { ...end, host } : undefined;
}

/** Undefined when the worker is of the same version as this batch. */
function versionFault({ programVersion: theirs, host }: WorkerAnswer): string | undefined {
  const ours = programVersion();
  if (theirs === ours) return undefined;
  return `The worker on ${host} is Lamella ${theirs}, and this batch is Lamella ${ours}: install the same version on both.`;
}

function lostEnd(reason: unknown): StackEnd {
  return {
    state: 'failed',
    kind: 'crash',
    reason: `The workers that took it died, one after another (${String(reason).slice(0, 200)}). Look at their machines, then run with ${optionName('retry')}.`,
  };
}

function unreadable(fault: string): StackEnd {
  return {
    state: 'failed',
    kind: 'crash',
    reason: `What the queue holds as its end cannot be understood: ${fault}. Is the worker of another version of Lamella? Install the same on all machines, then run with ${optionName('retry')}.`,
  };
}

function queueFailure(error: unknown): StackEnd {
  return { state: 'failed', kind: 'crash', reason: `It cannot be put into the queue: ${messageOf(error)}.` };
}

/** Errors of what is stored, which asking again does not mend: no JSON, or a key of another type. */
function isGarbled(error: unknown): boolean {
  return error instanceof SyntaxError || error instanceof TypeError || /^WRONGTYPE/.test(messageOf(error));
}

function messageOf(error: unknown): string {
  const message = (error as { message?: unknown } | null | undefined)?.message;
  return typeof message === 'string' ? message : 'its server sent an event that cannot be understood';
}

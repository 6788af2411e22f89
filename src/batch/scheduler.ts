import { statfs } from 'node:fs/promises';
import { join } from 'node:path';
import { setTimeout as delay } from 'node:timers/promises';
import { leavesOutMany } from '../check/judge-merge.js';
import { InterruptedError, LamellaError } from '../errors.js';
import { optionName } from '../option-names.js';
import { asOutputError } from '../result/output-failure.js';
import { identityOf } from '../result/process-identity.js';
import type { ResolvedBatch } from './batch-options.js';
import { chooseNext, type Load, timeLeft } from './choose-next.js';
import { confirmEnd } from './confirm-end.js';
import type { SearchResult } from './discovered-stack.js';
import { findStacks, type InspectionCache } from './find-stacks.js';
import { bytesText, clockText } from './format-night.js';
import { jobMark } from './job-mark.js';
import { nextTime } from './next-time.js';
import type { Night } from './night.js';
import { type EndState, wantsLook } from './night-events.js';
import { reportOf } from './night-shapes.js';
import { type BatchPlan, planDiscovered, type Task } from './plan-batch.js';
import { filesMark, SettledStacks } from './settled-stacks.js';
import type { StackEnd, StackJob, StackRun, StartStack } from './stack-job.js';

/** Outside of a batch's own logic, so that tests can use their own. */
export interface SchedulerTools {
  signal: AbortSignal | undefined;
  startStack: StartStack;
  freeBytes: (folder: string) => Promise<number>;
  now: () => Date;
}

interface Running extends Load {
  task: Task;
  run: StackRun;
  startedMs: number;
  /** The merge's own estimate of its end; better than the estimate once it is there. */
  leftMs?: number;
}

/** A stack that ends unmerged while its batch goes on is never passed over. */
const stoppedByOthers = {
  kind: 'crash',
  reason: 'Its merge was stopped, though not by this batch.',
} as const;

/** Watched folders are looked at this often at most and at least. */
const shortestLookMs = 300;
const longestLookMs = 5000;

/** One run through the stacks: starts what fits, records how each ends, and looks for new ones when asked to. */
export class Scheduler {
  readonly counts = { done: 0, look: 0, incomplete: 0, failed: 0, putOff: 0 };
  private readonly waiting: Task[] = [];
  private readonly running = new Map<string, Running>();
  private readonly settled: SettledStacks;
  private readonly untilMs: number | undefined;
  /** State of the files with which a stack was last taken up, by key. */
  private readonly taken = new Map<string, string>();
  /** Stacks that changed while they were read, to be tried once more at the end. */
  private readonly changed = new Set<string>();
  private readonly triedTwice = new Set<string>();
  private lastNotice = '';
  private begun = 0;
  private total = 0;
  private ended: EndState = 'done';

  constructor(
    private readonly batch: ResolvedBatch,
    private readonly night: Night,
    private readonly known: InspectionCache,
    private readonly tools: SchedulerTools,
  ) {
    this.settled = new SettledStacks(batch.settleMs);
    const { until } = batch;
    this.untilMs = until && nextTime(until.hour, until.minute, tools.now());
  }

  /**
   * Runs until nothing is left to do. Rejects only when the night list cannot be written; no process of a stack
   * is left then either.
   */
  async run(plan: BatchPlan): Promise<EndState> {
    try {
      if (this.batch.watch) await this.watchFrom(plan);
      else await this.takeUp(plan);
      await this.goOn();
      return this.tools.signal?.aborted ? 'interrupted' : this.ended;
    } finally {
      await this.stopAll();
    }
  }

  /** Takes the tasks of a plan into the row; what is at fault fails at once. */
  private async takeUp({ tasks, faults, finished }: BatchPlan): Promise<void> {
    this.total += tasks.length + faults.length;
    this.waiting.push(...tasks);
    for (const { found } of tasks) this.taken.set(found.key, filesMark(found));
    const estimateMs = timeLeft(tasks, [], this.batch.budget.threads);
    this.night.emit({
      event: 'plan',
      toDo: tasks.length,
      finished: finished.length,
      faults: faults.length,
      estimateMs,
    });
    for (const { planned, kind, reason } of faults) {
      this.counts.failed++;
      await this.night.record({
        event: 'failed',
        at: this.night.at(),
        stack: planned.stack,
        kind,
        reason,
        wallMs: 0,
      });
    }
    await this.night.writePage(true);
  }

  private async goOn(): Promise<void> {
    const stopped = abortOf(this.tools.signal);
    while (!this.tools.signal?.aborted) {
      await this.startWhatFits();
      if (this.running.size === 0) {
        if (!(await this.moreToCome())) return;
        if (this.waiting.length > 0) continue;
      }
      const ends = [...this.running.values()].map(async ({ task, run }) => ({ task, end: await run.ended }));
      const look = new AbortController();
      const next = await Promise.race([
        ...ends,
        stopped,
        ...(this.batch.watch
          ? [delay(this.lookMs(), undefined, { signal: look.signal }).catch(() => undefined)]
          : []),
      ]);
      look.abort();
      if (next) await this.finish(next.task, next.end);
      else if (this.batch.watch && !this.tools.signal?.aborted) await this.lookForMore();
    }
  }

  private async startWhatFits(): Promise<void> {
    for (;;) {
      const running = [...this.running.values()];
      const reserved = running.reduce((sum, { diskBytes }) => sum + diskBytes, 0);
      const choice = chooseNext(this.waiting, running, {
        ...this.batch.room,
        freeBytes: this.waiting.length > 0 ? (await this.tools.freeBytes(this.batch.out)) - reserved : 0,
        nowMs: this.tools.now().getTime(),
        untilMs: this.untilMs,
      });
      if (choice.choice === 'nothing' || choice.choice === 'wait') return;
      const task = this.waiting.shift()!;
      if (choice.choice === 'start') await this.start(task);
      else await this.putOff(task, choice.why);
    }
  }

  private async start(task: Task): Promise<void> {
    const { planned, found } = task;
    const startedMs = this.tools.now().getTime();
    this.night.emit({ event: 'begin', planned, ordinal: ++this.begun, total: this.total });
    const job = this.jobOf(task);
    const common = { event: 'start', at: this.night.at(), stack: found.key, job: jobMark(job) } as const;
    // A worker does what the list says was begun, and no process of this machine is to be known again.
    if (this.batch.queue) await this.night.record({ ...common, pid: null, began: null, host: '' });
    const run = this.tools.startStack(job, (merge) => {
      const running = this.running.get(found.key);
      if (running && merge.event === 'progress' && merge.leftS !== undefined)
        running.leftMs = merge.leftS * 1000;
      const elapsedMs = this.tools.now().getTime() - startedMs;
      this.night.emit({ event: 'merge', stack: found.key, elapsedMs, merge });
      if (merge.event === 'progress') this.sayWhole(false);
    });
    const where = this.batch.queue ? 'remote' : 'here';
    const ended = run.ended.then((end) => confirmEnd(job, end, where, this.tools.signal));
    this.running.set(found.key, { ...task, task, run: { ...run, ended }, startedMs });
    if (this.batch.queue) return;
    const { began, host } = run.pid === null ? { began: null, host: '' } : identityOf(run.pid);
    await this.night.record({ ...common, pid: run.pid, began, host });
  }

  private jobOf({ found, planned, options, memoryLimitMb }: Task): StackJob {
    return {
      folder: found.folder,
      out: join(this.batch.out, planned.name),
      // The plan has made sure that a result in its place is one of this batch. Always the same, since it is recorded.
      options: { ...options, overwrite: true },
      files: found.files,
      wholeFolder: found.part === undefined,
      nice: this.batch.nice,
      memoryLimitMb,
    };
  }

  private async putOff(task: Task, why: 'no disk' | 'until'): Promise<void> {
    this.counts.putOff++;
    if (this.ended !== 'no disk') this.ended = why;
    const reason =
      why === 'until'
        ? `it would take until ${clockText(new Date(this.tools.now().getTime() + task.estimateMs))}, past ${optionName('until')}`
        : `its result may take ${bytesText(task.diskBytes)}, and the disk of ${this.batch.out} has ${bytesText(await this.tools.freeBytes(this.batch.out))} free`;
    await this.night.record({ event: 'put-off', at: this.night.at(), stack: task.found.key, reason });
  }

  private async finish(task: Task, end: StackEnd): Promise<void> {
    const { key } = task.found;
    // A clock may be set back meanwhile.
    const wallMs = Math.max(0, this.tools.now().getTime() - (this.running.get(key)?.startedMs ?? 0));
    const run = this.running.get(key)?.run;
    this.running.delete(key);
    const common = { at: this.night.at(), stack: key };
    if (end.state === 'done') {
      this.counts.done++;
      if (wantsLook(end.report)) this.counts.look++;
      if (leavesOutMany(end.report.findings ?? [])) this.counts.incomplete++;
      const { mark: options, modelMs } = task;
      const report = { ...reportOf(end.report), wallMs };
      await this.night.record({ ...report, ...common, event: 'done', options, modelMs });
    } else {
      this.counts.failed++;
      const { kind, reason } = end.state === 'failed' ? end : stoppedByOthers;
      await this.night.record({ ...common, event: 'failed', kind, reason, wallMs });
      if (kind === 'changed' && !this.batch.watch && !this.triedTwice.has(key)) this.changed.add(key);
    }
    run?.recorded?.();
    this.sayWhole(true);
    await this.night.writePage(false);
  }

  private sayWhole(isNews: boolean): void {
    const nowMs = this.tools.now().getTime();
    const running = [...this.running.values()].map((one) => ({
      ...one,
      elapsedMs: one.leftMs === undefined ? nowMs - one.startedMs : one.estimateMs - one.leftMs,
    }));
    const leftMs = timeLeft(this.waiting, running, this.batch.budget.threads);
    const { done, look, failed } = this.counts;
    this.night.emit({ event: 'whole', isNews, done, look, failed, total: this.total, leftMs });
  }

  /** Whether there is, or may be, another stack to wait for. */
  private async moreToCome(): Promise<boolean> {
    if (this.batch.watch) return this.untilMs === undefined || this.tools.now().getTime() < this.untilMs;
    if (this.changed.size === 0) return false;
    const again = new Set(this.changed);
    this.changed.clear();
    for (const key of again) this.triedTwice.add(key);
    const plan = await this.planOf((key) => again.has(key));
    const retried = plan.tasks.length + plan.faults.length;
    this.counts.failed -= retried;
    this.total -= retried;
    await this.takeUp(plan);
    return plan.tasks.length > 0;
  }

  private async planOf(wanted: (key: string) => boolean): Promise<BatchPlan> {
    const findings = await this.find();
    const stacks = findings.stacks.filter(({ key }) => wanted(key));
    return planDiscovered(this.batch, this.night.state, { ...findings, stacks, passed: [] });
  }

  /** What lies below the root now; nothing when it cannot be read at the moment, or the batch is being stopped. */
  private async find(): Promise<SearchResult> {
    const { root, out, maxPixels, split, followLinks } = this.batch;
    try {
      const look = { known: this.known, signal: this.tools.signal };
      return await findStacks(root, { exclude: [out], maxPixels, split, followLinks, ...look });
    } catch (error) {
      if (!(error instanceof LamellaError)) throw error;
      if (error.message !== this.lastNotice && !(error instanceof InterruptedError)) {
        this.lastNotice = error.message;
        this.night.emit({ event: 'notice', message: error.message });
      }
      return { stacks: [], passed: [], partings: [] };
    }
  }

  /** What was there at the start may still be growing; folders that cannot be read are reported at once. */
  private async watchFrom(plan: BatchPlan): Promise<void> {
    const unreadable = plan.faults.filter(({ kind }) => kind === 'folder');
    await this.takeUp({ ...plan, tasks: [], faults: unreadable });
    const settle = `${this.batch.settleMs / 1000} s`;
    const message = `Watching ${this.batch.root}: a stack is taken up when nothing changed in it for ${settle}. Ctrl-C ends.`;
    this.night.emit({ event: 'notice', message });
    const found = plan.tasks.map((task) => task.found);
    this.settled.update(found, this.tools.now().getTime());
  }

  private lookMs(): number {
    return Math.min(longestLookMs, Math.max(shortestLookMs, this.batch.settleMs / 3));
  }

  private async lookForMore(): Promise<void> {
    const findings = await this.find();
    const busy = new Set([...this.running.keys(), ...this.waiting.map(({ found }) => found.key)]);
    const stacks = this.settled
      .update(findings.stacks, this.tools.now().getTime())
      .filter((found) => !busy.has(found.key) && this.taken.get(found.key) !== filesMark(found));
    if (stacks.length === 0) return;
    for (const found of stacks) this.taken.set(found.key, filesMark(found));
    const plan = await planDiscovered(this.batch, this.night.state, { stacks, passed: [], partings: [] });
    const news = [...plan.tasks, ...plan.faults].map(({ planned }) => planned);
    if (news.length === 0) return;
    await this.night.record({ event: 'found', at: this.night.at(), stacks: news });
    await this.takeUp(plan);
  }

  private async stopAll(): Promise<void> {
    const runs = [...this.running.values()].map(({ run }) => run);
    for (const run of runs) run.stop();
    await Promise.all(runs.map(({ ended }) => ended));
  }
}

/** Free bytes on the disk of a folder, for users without special rights. */
export async function freeBytesOf(folder: string): Promise<number> {
  try {
    const { bavail, bsize } = await statfs(folder);
    return bavail * bsize;
  } catch (error) {
    throw asOutputError(error, folder);
  }
}

function abortOf(signal: AbortSignal | undefined): Promise<undefined> {
  return new Promise((resolve) =>
    signal?.addEventListener('abort', () => resolve(undefined), { once: true }),
  );
}

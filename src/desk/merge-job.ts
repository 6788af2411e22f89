import { readdir, rm, stat } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import type { InputFile } from '../batch/stack-inputs.js';
import type { StackEnd, StackJob, StackPicture, StackRun } from '../batch/stack-job.js';
import { startStackProcess } from '../batch/stack-process.js';
import type { MergeEvent } from '../merge/merge-event.js';
import { stageTitles } from '../merge/stage-titles.js';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { readRunRecord } from '../result/read-run-record.js';
import { tidyUnfinished } from '../result/unfinished.js';
import { hasPictureEnding, hasRawEnding } from '../stack/file-kind.js';
import type { PreviewFactor } from '../stack/frame.js';
import type { Desk } from './desk.js';
import type { JobChange, JobEnd, JobOrder, JobRun } from './job-table.js';
import { inDeskWords } from './option-labels.js';
import type { JobRemark } from './protocol.js';
import { stackTitle } from './sample.js';
import { thumbnail } from './thumbnails.js';

/** Merges give way to the page, which shares the machine with them. */
const nice = 5;
/** Longer side of the picture of a quick look on the page, px. */
const pictureSide = 1280;
/** Merges whose pictures are kept. */
const picturesKept = 20;

/** A merge that the desk is to do. */
export interface MergePlan {
  folder: string;
  /** Absolute path of the result. */
  out: string;
  /** Resolved. */
  options: MergeOptions;
  /** A quick look first, at 1 / `factor` of each side, with both times by the estimate; null: at once at full size. */
  look: { factor: PreviewFactor; estimateS: number; mergeS: number } | null;
}

/** The last picture of a merge, by the number of its job: a quick look, or what is blended so far. */
const pictures = new Map<number, Buffer>();

export function jobPicture(id: number): Buffer | undefined {
  return pictures.get(id);
}

/** A merge as a job: a quick look first, then the merge itself, each in a process of its own. */
export function mergeOrder(desk: Desk, plan: MergePlan): JobOrder {
  const { folder, out } = plan;
  return {
    ...{ kind: 'merge', title: stackTitle(folder), folder, out, lane: 'merge' },
    begin: (change, { id }) => beginMerge(desk, plan, id, change),
  };
}

function beginMerge(
  desk: Desk,
  { folder, out, options, look }: MergePlan,
  id: number,
  change: (change: JobChange) => void,
): JobRun {
  let run: StackRun | undefined;
  let isStopped = false;
  let pictureCount = 0;
  const remarks: JobRemark[] = [];
  /** Share of the whole that the quick look takes. */
  const lookShare = look ? look.estimateS / (look.estimateS + look.mergeS) : 0;

  const show = (picture: Buffer, pictureText: string): void => {
    pictures.delete(id);
    pictures.set(id, picture);
    for (const old of [...pictures.keys()].slice(0, -picturesKept)) pictures.delete(old);
    change({ picture: ++pictureCount, pictureText });
  };

  const merge = async (
    job: Omit<StackJob, 'files' | 'wholeFolder' | 'nice'>,
    follow: (event: MergeEvent) => void,
    name = '',
  ) => {
    const files = await inputFiles(folder);
    if (isStopped) return { state: 'stopped' } satisfies StackEnd;
    run = startStackProcess({ ...job, files, wholeFolder: true, nice }, follow, (picture) =>
      show(Buffer.from(picture.jpeg, 'base64'), `${name}${growthText(picture)}`),
    );
    return run.ended;
  };

  const lookFirst = async (factor: PreviewFactor): Promise<StackEnd> => {
    const place = join(desk.scratch, `look-${id}`);
    const preview = resolveOptions({ ...options, preview: factor, format: 'jpg', bits: 8, overwrite: true });
    const progress = new Progress(0, lookShare);
    const name = `Quick look at 1/${factor} of the size`;
    try {
      const end = await merge(
        { folder, out: place, options: preview },
        (event) => {
          if (event.event === 'start') change({ stage: 'Quick look' });
          if (event.event === 'progress') change({ share: progress.share(event.leftS) });
        },
        `${name}: `,
      );
      if (end.state !== 'done') return end;
      const record = await readRunRecord(place);
      const file = join(place, record.composite.file);
      show(await thumbnail(file, pictureSide, new AbortController().signal), name);
      return end;
    } finally {
      await rm(place, { recursive: true, force: true });
    }
  };

  const work = async (): Promise<JobEnd> => {
    if (look) {
      const end = await lookFirst(look.factor);
      // Where a quick look is not to be had, the merge itself says why.
      if (end.state === 'stopped') return jobEnd(end);
    }
    // Files that are open could not be replaced everywhere.
    await desk.results.release(out);
    const progress = new Progress(lookShare, 1);
    const end = await merge({ folder, out, options }, (event) => {
      if (event.event === 'stage') change({ stage: stageTitles[event.stage] });
      if (event.event === 'progress')
        change({ share: progress.share(event.leftS), leftS: event.leftS ?? null });
      const remark = remarkOf(event);
      if (remark && remarks.every(({ text }) => text !== remark.text)) {
        remarks.push(remark);
        change({ remarks: [...remarks] });
      }
    });
    // Somebody may have opened the earlier one meanwhile.
    await desk.results.release(out);
    return jobEnd(end);
  };

  return {
    ended: work()
      .catch((error: unknown): JobEnd => {
        return { state: 'failed', message: error instanceof Error ? error.message : String(error) };
      })
      .finally(() => tidyUnfinished(dirname(out), basename(out))),
    stop() {
      isStopped = true;
      run?.stop();
    },
  };
}

/** What is shown of a merge while it is blended; the rest is as soft as in the photograph that was added last. */
function growthText({ done, frames }: StackPicture): string {
  const soft = done < frames ? ', what is still soft comes next' : '';
  return `${done} of ${frames} photographs blended${soft}`;
}

/** Turns estimates of the time that is left into a share of the whole that never falls. */
class Progress {
  private readonly startedMs = performance.now();
  private last = 0;

  constructor(
    private readonly from: number,
    private readonly to: number,
  ) {}

  share(leftS: number | undefined): number {
    if (leftS !== undefined) {
      const elapsedS = (performance.now() - this.startedMs) / 1000;
      this.last = Math.max(this.last, elapsedS / (elapsedS + leftS));
    }
    return this.from + (this.to - this.from) * this.last;
  }
}

function remarkOf(event: MergeEvent): JobRemark | undefined {
  if (event.event === 'warning') return { rank: 'flaw', text: inDeskWords(event.message) };
  if (event.event === 'note') return { rank: 'note', text: inDeskWords(event.message) };
  if (event.event !== 'finding') return undefined;
  const { rank, message, advice } = event.finding;
  return { rank, text: inDeskWords(`${message} ${advice}`.trim()) };
}

function jobEnd(end: StackEnd): JobEnd {
  if (end.state === 'done')
    return { state: 'done', message: inDeskWords(end.report.verdicts[0] ?? 'Merged.') };
  if (end.state === 'failed') return { state: 'failed', message: inDeskWords(end.reason) };
  return { state: 'cancelled', message: 'Cancelled: nothing was written.' };
}

/** The files of a stack as they are now, so that a change while they are read is noticed. */
async function inputFiles(folder: string): Promise<InputFile[]> {
  const names = (await readdir(folder)).filter((name) => !name.startsWith('.'));
  const files = names
    .filter((name) => hasPictureEnding(name) || hasRawEnding(name))
    .map(async (name) => {
      const found = await stat(join(folder, name)).catch(() => undefined);
      if (!found?.isFile()) return [];
      const { size, mtimeMs, ctimeMs } = found;
      return [{ name, sizeBytes: size, modifiedMs: mtimeMs, changedMs: ctimeMs }];
    });
  return (await Promise.all(files)).flat();
}

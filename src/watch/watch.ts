import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import type { StripPicture } from '../check/strip-pictures.js';
import { InputError, LamellaError } from '../errors.js';
import { optionName } from '../option-names.js';
import { type Finding, spoilsMerge } from '../result/finding.js';
import { isEarlierResult } from '../stack/earlier-result.js';
import { hasPictureEnding, hasRawEnding } from '../stack/file-kind.js';
import type { StackNote } from '../stack/frame.js';
import { type Inspected, inspectFile, type Photograph } from '../stack/inspect-file.js';
import { hasPictureEnd } from '../stack/picture-end.js';
import { inspectRaw } from '../stack/raw/inspect-raw.js';
import { rawWorkers } from '../stack/raw/raw-workers.js';
import { stemOf } from '../stack/words.js';
import { ArrivingFiles } from './arriving-files.js';
import { FindingChanges } from './finding-changes.js';
import { frameVerdict, subjectCoverage } from './frame-verdict.js';
import { FramesToGo } from './frames-to-go.js';
import { LiveFindings } from './live-findings.js';
import { type LiveJudgement, LiveStack } from './live-stack.js';
import type { FrameVerdict, WatchEvent } from './watch-events.js';
import { resolveWatchOptions, type WatchOptions } from './watch-options.js';

/** From one look into the folder to the next. */
const pollMs = 250;
/** Frames that are already there when the watch begins are judged some at a time. */
const judgedAtOnce = 4;
const defaultMaxPixels = 250e6;

/** How a caller follows a watch and ends it. */
export interface WatchHooks {
  /** Ends the watch. */
  signal: AbortSignal;
  /** Called with each event as it happens. */
  onEvent: (event: WatchEvent) => void;
  /** Called after each judgement with all that is known by then: frames in capture order, the gravest findings first. */
  onJudged?: ((frames: FrameVerdict[], findings: Finding[]) => void) | undefined;
  /** Called with the small picture of each frame, before its event, and the name of its file. */
  onStrip?: ((strip: StripPicture, name: string) => void) | undefined;
}

/** The verdict on the stack as it was when the watch ended. */
export interface WatchReport {
  folder: string;
  frames: number;
  /** No finding spoils the merge. */
  fit: boolean;
  /** The gravest first. */
  findings: Finding[];
}

/**
 * Watches a folder into which the frames of a stack arrive, and judges each as soon as its file is whole, as `check`
 * judges the stack. It goes on until its signal is aborted, and then resolves.
 *
 * What is judged of a frame may change with those that follow; an event says so. The near end is not looked for in the
 * pictures: it follows from the option, the EXIF, or the growth of the picture where the step is given.
 *
 * @param folder Folder of the frames, which is only read; it may be empty.
 * @param given Lengths in mm.
 * @throws UsageError when an option is wrong; InputError when the folder cannot be read or is a result.
 */
export async function watch(
  folder: string,
  given: Partial<WatchOptions>,
  hooks: WatchHooks,
): Promise<WatchReport> {
  const session = new WatchSession(folder, resolveWatchOptions(given), hooks);
  return session.run();
}

class WatchSession {
  private readonly files: ArrivingFiles;
  private readonly live: LiveStack;
  private readonly findings = new LiveFindings();
  private readonly changes = new FindingChanges();
  private readonly toGo = new FramesToGo();
  /** Photographs by the names of their files, and files that are no frames, with the reason. */
  private readonly taken = new Map<string, Photograph>();
  private readonly leftOut = new Map<string, StackNote>();
  /** Frames that have been taken but not judged, and since when their files were whole. */
  private readonly unjudged = new Map<string, number>();
  private judged: LiveJudgement | undefined;
  private closer: Promise<void> | undefined;
  private isCloserDone = false;
  private notice = '';

  constructor(
    private readonly folder: string,
    private readonly options: WatchOptions,
    private readonly hooks: WatchHooks,
  ) {
    this.files = new ArrivingFiles(folder);
    this.live = new LiveStack(folder, options, hooks.onStrip);
  }

  async run(): Promise<WatchReport> {
    const { signal } = this.hooks;
    await this.begin();
    while (!signal.aborted) {
      await this.look();
      if (this.isCloserDone) {
        this.isCloserDone = false;
        this.judge();
      }
      await wait(pollMs, undefined, { signal }).catch(() => {});
    }
    await this.closer;
    return this.end();
  }

  private emit(event: WatchEvent): void {
    this.hooks.onEvent(event);
  }

  private async begin(): Promise<void> {
    const planned = this.options.plannedFrames ?? this.options.positionsMm?.length ?? null;
    const names = await this.files.names();
    if (await isEarlierResult(this.folder, names)) {
      throw new InputError(
        `"${this.folder}" is the result folder of an earlier merge, not a folder of frames: give the folder into which photographs arrive.`,
      );
    }
    this.emit({ event: 'begin', folder: this.folder, plannedFrames: planned });
  }

  private async look(): Promise<void> {
    const changes = await this.files.look(Date.now(), this.live.isBehind).catch((error: unknown) => {
      // A card that was taken out, or a network drive that is away, may come back.
      if (!(error instanceof InputError)) throw error;
      if (this.notice !== error.message) this.emit({ event: 'notice', message: error.message });
      this.notice = error.message;
      return undefined;
    });
    if (!changes) return;
    this.notice = '';
    await this.lose(changes.gone);
    const touched = changes.touched.map((name) => ({ from: name, to: name }));
    await this.rename([...changes.renamed, ...touched]);
    const isBehind = this.live.isBehind;
    await this.live.catchUp();
    if (isBehind || changes.gone.length + changes.renamed.length > 0) this.judge();
    for (const name of changes.arriving) {
      if (hasPictureEnding(name) || hasRawEnding(name)) this.emit({ event: 'arriving', name });
    }
    for (const [i, name] of this.inPreferredOrder(changes.ready).entries()) {
      if (this.hooks.signal.aborted) return;
      await this.tryFile(name);
      const isLast = i === changes.ready.length - 1;
      if (this.unjudged.size >= judgedAtOnce || isLast) this.judge();
    }
    if (changes.ready.length === 0) this.lookCloser();
  }

  /** Of a raw file and a JPEG of one name that are ready together, the one that is used comes first. */
  private inPreferredOrder(names: readonly string[]): string[] {
    const isRaw = (name: string) => !/\.(jpe?g|jpe|jfif|png|tiff?|webp)$/i.test(name);
    const rawFirst = this.options.prefer === 'raw' ? -1 : 1;
    return names.toSorted((one, other) =>
      stemOf(one) === stemOf(other) ? rawFirst * (Number(isRaw(one)) - Number(isRaw(other))) : 0,
    );
  }

  private async tryFile(name: string): Promise<void> {
    const sinceMs = this.files.restedSince(name);
    const isGivenUp = this.files.isGivenUp(name, Date.now());
    const inspected = await this.inspect(name);
    switch (inspected.kind) {
      case 'other':
        this.files.note(name, 'passed over');
        return;
      case 'raw':
      case 'unusable': {
        const reason = inspected.kind === 'unusable' ? inspected.reason : 'is a camera raw file';
        if (!isGivenUp) return this.files.note(name, 'not whole');
        const isLost = inspected.kind === 'unusable' && inspected.isLost;
        this.passOver(name, reason, isLost ? 'lost' : 'unfit');
        return;
      }
      case 'photograph':
        return this.tryPhotograph(inspected.photograph, sinceMs, isGivenUp);
    }
  }

  private async inspect(name: string): Promise<Inspected> {
    const maxPixels = this.options.maxMegapixels ? this.options.maxMegapixels * 1e6 : defaultMaxPixels;
    const inspected = await inspectFile(this.folder, name, maxPixels);
    if (inspected.kind !== 'raw') return inspected;
    rawWorkers.allow(1);
    return inspectRaw(this.folder, name, maxPixels);
  }

  private async tryPhotograph(photograph: Photograph, sinceMs: number, isGivenUp: boolean): Promise<void> {
    const { name } = photograph;
    if (this.options.order === 'time' && photograph.exif.takenMs === undefined) {
      this.passOver(name, `has no capture time, by which ${optionName('order')} sorts`, 'unfit');
      return;
    }
    const twin = [...this.taken.values()].find(
      (other) => other.name !== name && stemOf(other.name) === stemOf(name),
    );
    if (twin && (twin.format === 'raw') !== (photograph.format === 'raw')) {
      this.files.note(name, 'passed over');
      this.emit({ event: 'passed-over', name, reason: `${twin.name}, of the same name, is used` });
      return;
    }
    try {
      if (!(await hasPictureEnd(join(this.folder, name)).catch(() => false))) {
        throw new InputError(`${name} is cut short: copy it again from the card.`);
      }
      const before = this.taken.get(name);
      if (before && (await this.live.update(photograph))) {
        this.files.note(name, 'taken');
        return;
      }
      if (before) {
        this.emit({ event: 'replaced', name });
        await this.live.remove([name]);
        this.taken.delete(name);
      }
      await this.live.take(photograph);
      this.unjudged.set(name, sinceMs);
    } catch (error) {
      if (!(error instanceof InputError)) throw error;
      if (!isGivenUp) return this.files.note(name, 'not whole');
      await this.live.remove([name]);
      await this.live.refuse(photograph, error.message);
    }
    this.taken.set(name, photograph);
    this.leftOut.delete(name);
    this.files.note(name, 'taken');
  }

  private passOver(name: string, reason: string, kind: StackNote['kind']): void {
    this.files.note(name, 'passed over');
    this.leftOut.set(name, { kind, message: `${name} is left out: it ${reason}.` });
    this.live.leftOut = [...this.leftOut.values()];
    this.emit({ event: 'passed-over', name, reason: `it ${reason}` });
  }

  private async lose(names: readonly string[]): Promise<void> {
    const leftOut = names.filter((name) => this.leftOut.delete(name));
    if (leftOut.length > 0) this.live.leftOut = [...this.leftOut.values()];
    const lost = names.filter((name) => this.taken.delete(name));
    if (lost.length === 0) return;
    for (const name of lost) this.unjudged.delete(name);
    await this.live.remove(lost);
    for (const name of lost) this.emit({ event: 'gone', name, frames: this.live.count });
  }

  private async rename(renamed: readonly { from: string; to: string }[]): Promise<void> {
    const photographs = new Map<string, Photograph>();
    for (const { from, to } of renamed) {
      const known = this.taken.get(from);
      if (!known) continue;
      const inspected = await this.inspect(to);
      photographs.set(
        from,
        inspected.kind === 'photograph'
          ? inspected.photograph
          : { ...known, name: to, path: join(this.folder, to) },
      );
    }
    if (photographs.size === 0) return;
    const waiting = [...photographs].map(([from, { name }]) => [name, this.unjudged.get(from)] as const);
    for (const from of photographs.keys()) {
      this.taken.delete(from);
      this.unjudged.delete(from);
    }
    for (const photograph of photographs.values()) this.taken.set(photograph.name, photograph);
    for (const [name, sinceMs] of waiting) if (sinceMs !== undefined) this.unjudged.set(name, sinceMs);
    await this.live.rename(photographs);
    for (const [from, { name }] of photographs) {
      if (name !== from) this.emit({ event: 'renamed', from, to: name });
    }
  }

  /** Judges the stack as it is now, and tells what is new. */
  private judge(): void {
    const judged = this.live.judge();
    // What is read anew is judged as soon as it is there.
    if (!judged && this.live.isBehind) return;
    this.judged = judged;
    if (!judged) return;
    const { files } = judged.evidence;
    const last = files.at(-1)!.number;
    const findings = this.findings.next(judged.findings, last, files.length);
    const events = this.changes.next(findings);
    const told = events.flatMap((event) =>
      event.event === 'finding' && event.finding.rank !== 'note' ? [event.finding] : [],
    );
    const coverage = subjectCoverage(judged, this.toGo.next(judged), this.options);
    files.forEach(({ name, number }, k) => {
      const sinceMs = this.unjudged.get(name);
      if (sinceMs === undefined) return;
      const isBad = told.some(({ frames }) => frames.length === 0 || frames.includes(number));
      this.emit({
        event: 'frame',
        frames: files.length,
        waitMs: Math.max(0, Math.round(Date.now() - sinceMs)),
        ...frameVerdict(judged, k, this.options),
        isGood: !isBad,
        ...coverage,
      });
    });
    this.unjudged.clear();
    for (const event of events) this.emit(event);
    const faulty = new Set(
      findings.flatMap(({ rank, frames }) => (rank === 'note' || frames.length === 0 ? [] : frames)),
    );
    const frames = files.map(({ number }, k) => ({
      ...frameVerdict(judged, k, this.options),
      isGood: !faulty.has(number),
    }));
    this.hooks.onJudged?.(frames, findings);
  }

  /** Begins what needs more time than there is before the next frame. */
  private lookCloser(): void {
    if (this.closer || !this.live.isCloserLookDue) return;
    this.closer = this.live
      .lookCloser(this.hooks.signal)
      // Files may be gone by now; they have been, or will be, told of.
      .catch((error: unknown) => {
        if (!(error instanceof LamellaError)) throw error;
      })
      .finally(() => {
        this.closer = undefined;
        this.isCloserDone = true;
      });
  }

  private end(): WatchReport {
    const findings = this.judged?.findings ?? [];
    const report = { folder: this.folder, frames: this.live.count, fit: !spoilsMerge(findings), findings };
    this.emit({ event: 'end', frames: report.frames, fit: report.fit, findings });
    return report;
  }
}

import type { CheckOptions } from '../check/check-options.js';
import { type Judgement, judgeStack } from '../check/judge-stack.js';
import { type StripPicture, stripPicture } from '../check/strip-pictures.js';
import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { burstFrames } from '../model/constants/rail.js';
import { measureFullSize, readFullSize } from '../rail/full-size-reading.js';
import { usualStepMm } from '../rail/given-travel.js';
import { type DetailAhead, LiveReading } from '../rail/live-reading.js';
import type { JudgedEvidence } from '../rail/stack-reading.js';
import type { CaptureOrder } from '../stack/capture-order.js';
import { oddSizeNote, orderByCommonSize } from '../stack/common-size.js';
import { type DecodedFrame, decodeFrame } from '../stack/decode.js';
import { type FocusDirection, findDirection } from '../stack/focus-direction.js';
import type { FrameFile, Stack, StackNote } from '../stack/frame.js';
import { ChangedFrameError } from '../stack/frame-identity.js';
import type { Photograph } from '../stack/inspect-file.js';
import { developStack } from '../stack/raw/develop-stack.js';
import { type Development, plainDevelopment } from '../stack/raw/development.js';

/** Frames before and behind one that is put into the middle of the stack, which are read again with it. */
const framesAround = 12;
/** Frames behind the window's end that are put back behind a late one without reading more. */
const maxLate = 3;
/** Frames from one closer look to the next, while there are few: as many as it reads in full, see `readFullSize`. */
const closerFrames = burstFrames + 1;

type Numbered = Photograph & { number: number };

/** The verdict on a stack that is not complete yet. */
export interface LiveJudgement extends Judgement {
  stack: Stack;
  evidence: JudgedEvidence;
  way: FocusDirection;
  /** See `LiveReading.ahead`. */
  ahead: DetailAhead | undefined;
}

/**
 * The photographs of a stack that is being shot: their order, numbers and common size, and what has been measured of
 * them. Each is decoded once, reduced; a few are read again when the order changes before them.
 */
export class LiveStack {
  private photographs: Photograph[] = [];
  private reading: LiveReading | undefined;
  private size: Size | undefined;
  private bits: 8 | 16 = 8;
  private channels: 1 | 3 = 1;
  private order: CaptureOrder<Numbered> = { ordered: [], orderedBy: 'name' };
  private readonly unreadable = new Map<string, string>();
  private development: Development | undefined;
  private warnings: StackNote[] = [];
  private nextCloserLook = closerFrames;
  private isBehindFolder = false;

  /**
   * @param folder As it is named in messages.
   * @param options Resolved.
   * @param onStrip Called with the small picture of each new frame and the name of its file.
   */
  constructor(
    private readonly folder: string,
    private readonly options: CheckOptions,
    private readonly onStrip?: (strip: StripPicture, name: string) => void,
  ) {}

  /** Whether a file changed while it was to be read again: `catchUp` reads what is known anew. */
  get isBehind(): boolean {
    return this.isBehindFolder;
  }

  /** Photographs that can be read. */
  get count(): number {
    return this.reading?.count ?? 0;
  }

  /** Warnings about files that are no frames; they are judged like those of a listing. */
  set leftOut(warnings: StackNote[]) {
    this.warnings = warnings;
  }

  /**
   * Takes a photograph that is whole, and measures it.
   *
   * @throws InputError when it cannot be decoded; then it is not part of the stack.
   */
  async take(photograph: Photograph): Promise<void> {
    if (this.count === 0) await this.begin(photograph);
    const isAlike = isSame(photograph.size, this.size!) && this.fits(photograph);
    const file = this.fileOf({ ...photograph, number: 0 });
    // Decoded first: a photograph that is not whole yet changes nothing.
    const decoded = isAlike
      ? await decodeFrame(file, { shrink: this.reading!.shrink })
      : await decodeFrame(withOwn(file, photograph), { shrink: 8 });
    if (this.onStrip && isSame(photograph.size, this.size!)) {
      this.onStrip(await stripPicture(file, decoded), photograph.name);
    }
    this.photographs.push(photograph);
    await this.settle(isAlike ? { name: photograph.name, decoded } : undefined);
  }

  /**
   * Takes note of other content under a name; returns whether it shows the same picture, as after an edit of its EXIF.
   *
   * @throws InputError when it cannot be decoded; then nothing has changed.
   */
  async update(photograph: Photograph): Promise<boolean> {
    const k = this.reading?.files.findIndex(({ name }) => name === photograph.name) ?? -1;
    if (!this.reading || k < 0 || !isSame(photograph.size, this.size!) || !this.fits(photograph))
      return false;
    const { shrink } = this.reading;
    const decoded = await decodeFrame(this.fileOf({ ...photograph, number: 0 }), { shrink });
    if (this.reading.fingerprint(k) !== this.reading.fingerprintOf(decoded)) return false;
    await this.rename(new Map([[photograph.name, photograph]]));
    return true;
  }

  /** A photograph that cannot be read, and why as a sentence; it keeps its number. */
  async refuse(photograph: Photograph, reason: string): Promise<void> {
    this.unreadable.set(photograph.name, reason);
    this.photographs.push(photograph);
    await this.settle();
  }

  /** Takes photographs out: their files are gone. */
  async remove(names: readonly string[]): Promise<void> {
    for (const name of names) this.unreadable.delete(name);
    this.photographs = this.photographs.filter(({ name }) => !names.includes(name));
    await this.settle();
  }

  /** The same photographs under other names, or with other times; by the names that they had, all at once. */
  async rename(renamed: ReadonlyMap<string, Photograph>): Promise<void> {
    const reasons = [...renamed].map(([from, { name }]) => [name, this.unreadable.get(from)] as const);
    for (const from of renamed.keys()) this.unreadable.delete(from);
    for (const [name, reason] of reasons) if (reason !== undefined) this.unreadable.set(name, reason);
    this.photographs = this.photographs.map((known) => renamed.get(known.name) ?? known);
    this.reading?.rename(
      this.reading.files.map((file) => {
        const photograph = renamed.get(file.name);
        return photograph ? { ...file, ...pathOf(photograph) } : file;
      }),
    );
    await this.settle();
  }

  /** Reads all that is known anew, where `isBehind` says so. */
  async catchUp(): Promise<void> {
    if (this.isBehindFolder) await this.settle();
  }

  /** Measures the newest frames anew, and judges all of them; undefined without a frame. */
  judge(): LiveJudgement | undefined {
    const { reading } = this;
    if (!reading || reading.count === 0) return undefined;
    reading.update();
    const stack = this.stack();
    const evidence = reading.evidence();
    const way = findDirection(
      this.options.direction,
      evidence.files,
      { growth: evidence.motion.growth },
      { widthPx: stack.size.width, stepMm: usualStepMm(this.options) },
    );
    const unreadable = new Map(
      this.order.ordered.flatMap(({ name, number }) => {
        const reason = this.unreadable.get(name);
        return reason === undefined ? [] : [[number, reason] as const];
      }),
    );
    const judgement = judgeStack(stack, evidence, unreadable, way, this.options);
    return { ...judgement, stack, evidence, way, ahead: reading.ahead() };
  }

  /** Whether enough frames came since the last closer look; later ones find little that is new. */
  get isCloserLookDue(): boolean {
    return this.count >= this.nextCloserLook;
  }

  /** Reads a few frames in full for hot pixels and the finest detail. */
  async lookCloser(signal: AbortSignal | undefined): Promise<void> {
    const { reading } = this;
    if (!reading || reading.count < 3) return;
    this.nextCloserLook = Math.max(
      reading.count + closerFrames,
      reading.count > 3 * closerFrames ? 2 * reading.count : 0,
    );
    const layout = reading.tileLayout;
    if (!layout) return;
    const { files, motion, fit, stackTravel } = reading.evidence();
    const { hotPixels, fineWidth } = await readFullSize(
      motion,
      fit.tiles,
      layout,
      stackTravel.travel.positions,
      (plan) => measureFullSize(plan, (k) => decodeFrame(files[k]), signal),
    );
    reading.hotPixels = hotPixels;
    if (reading.shrink > 1) reading.fullSizeWidth = fineWidth ?? reading.fullSizeWidth;
  }

  private fits({ bits, channels }: Photograph): boolean {
    return bits <= this.bits && channels <= this.channels;
  }

  /** Takes the facts of the first photograph that may be read for those of the stack. */
  private async begin(first: Photograph): Promise<void> {
    this.size = first.size;
    this.bits = first.bits;
    this.channels = first.channels;
    this.reading = new LiveReading(first.size);
    if (first.raw && !this.development) await this.chooseDevelopment(first);
  }

  private async chooseDevelopment(first: Photograph): Promise<void> {
    const frame: FrameFile = { ...first, number: 1 };
    const { development } = await developStack(
      { ...this.stack(), frames: [frame], size: first.size },
      1,
      plainDevelopment,
    );
    this.development = development;
  }

  /** Orders and numbers the photographs anew, and has the reading follow. */
  private async settle(added?: { name: string; decoded: DecodedFrame }): Promise<void> {
    const order = orderByCommonSize(this.photographs, this.options.order);
    const ordered = order.ordered.map((photograph, i) => ({ ...photograph, number: i + 1 }));
    this.order = { ...order, ordered };
    if (this.photographs.length === 0) {
      this.size = undefined;
      this.reading = undefined;
      return;
    }
    const size = commonSize(this.photographs, this.size);
    const readable = ordered.filter(
      (photograph) => isSame(photograph.size, size) && !this.unreadable.has(photograph.name),
    );
    const bits = readable.some((photograph) => photograph.bits === 16) ? 16 : 8;
    const channels = readable.some((photograph) => photograph.channels === 3) ? 3 : 1;
    const isOther = !this.size || !isSame(size, this.size) || bits > this.bits || channels > this.channels;
    this.size = size;
    if (isOther) {
      this.bits = bits;
      this.channels = channels;
      this.reading = undefined;
    }
    const files = readable.map((photograph) => this.fileOf(photograph));
    try {
      await this.follow(files, isOther ? undefined : added);
      this.isBehindFolder = false;
    } catch (error) {
      if (!(error instanceof InputError)) throw error;
      // The next look at the folder finds out what became of the file; what was measured in part is no use.
      this.reading = undefined;
      this.isBehindFolder = true;
    }
  }

  /** Brings the reading to these frames, in their order. */
  private async follow(
    files: readonly FrameFile[],
    added?: { name: string; decoded: DecodedFrame },
  ): Promise<void> {
    const wanted = new Map(files.map(({ name }, k) => [name, k]));
    if (this.reading) {
      for (let k = this.reading.count - 1; k >= 0; k--) {
        if (!wanted.has(this.reading.files[k].name)) this.reading.remove(k);
      }
      const kept = this.reading.files.map(({ name }) => wanted.get(name)!);
      if (kept.some((k, i) => i > 0 && k < kept[i - 1])) this.reading = undefined;
    }
    this.reading ??= new LiveReading(this.size!);
    const { reading } = this;
    for (const [k, file] of files.entries()) {
      if (reading.files[k]?.name === file.name) continue;
      const decoded = added?.name === file.name ? added.decoded : await this.decode(file);
      await this.place(reading, k, file, decoded);
      // What is read again in a row is measured as it would have been one by one.
      if (files.length - reading.count > 0 && k % 4 === 3) reading.update();
    }
    reading.rename(files);
  }

  /** Puts a frame in at index k. */
  private async place(
    reading: LiveReading,
    k: number,
    file: FrameFile,
    decoded: DecodedFrame,
  ): Promise<void> {
    const end = reading.windowEnd;
    if (k < end && end - k <= maxLate) reading.retract(k);
    else if (k !== end) {
      reading.openWindow(Math.max(0, k - framesAround));
      while (reading.windowEnd < k) await this.extend(reading);
    }
    reading.insert(file, decoded);
    const behind = Math.min(reading.count, k + 1 + framesAround);
    while (reading.windowEnd < behind) await this.extend(reading);
  }

  private async extend(reading: LiveReading): Promise<void> {
    reading.extend(await this.decode(reading.files[reading.windowEnd]));
  }

  /** Decodes a frame that could be decoded before; one that cannot be any more, as it is, counts as unreadable. */
  private async decode(file: FrameFile): Promise<DecodedFrame> {
    try {
      return await decodeFrame(file, { shrink: this.reading!.shrink });
    } catch (error) {
      if (error instanceof InputError && !(error instanceof ChangedFrameError)) {
        this.unreadable.set(file.name, error.message);
      }
      throw error;
    }
  }

  private fileOf({ pages: _, ...frame }: Numbered): FrameFile {
    const raw = frame.raw && this.development ? { ...frame.raw, development: this.development } : frame.raw;
    return { ...frame, ...(raw && { raw }), bits: this.bits, channels: this.channels };
  }

  private stack(): Stack {
    const size = this.size!;
    const odd = this.order.ordered.filter((photograph) => !isSame(photograph.size, size));
    return {
      folder: this.folder,
      frames: this.reading?.files ?? [],
      photographs: this.photographs.length,
      size,
      bits: this.bits,
      channels: this.channels,
      orderedBy: this.order.orderedBy,
      notes: this.order.note ? [this.order.note] : [],
      warnings: [...this.warnings, ...odd.map((frame) => oddSizeNote(frame, size))],
    };
  }
}

/** The size that most photographs have; of equals that of the stack so far. */
function commonSize(photographs: readonly Photograph[], present: Size | undefined): Size {
  const counts = new Map<string, { size: Size; count: number }>();
  for (const { size } of photographs) {
    const key = `${size.width} x ${size.height}`;
    counts.set(key, { size, count: (counts.get(key)?.count ?? 0) + 1 });
  }
  const most = Math.max(...[...counts.values()].map(({ count }) => count));
  const commonest = [...counts.values()].filter(({ count }) => count === most).map(({ size }) => size);
  return commonest.find((size) => present && isSame(size, present)) ?? commonest[0];
}

function isSame(one: Size, other: Size): boolean {
  return one.width === other.width && one.height === other.height;
}

function withOwn(file: FrameFile, { bits, channels }: Photograph): FrameFile {
  return { ...file, bits, channels };
}

function pathOf({ name, path, fileMark, modifiedMs }: Photograph) {
  return { name, path, modifiedMs, ...(fileMark !== undefined && { fileMark }) };
}

import { basename } from 'node:path';
import { fileURLToPath } from 'node:url';
import { threadsInAddressSpace } from '../workers/address-space.js';
import { clockMs, publishSpan } from '../workers/spans.js';
import { TaskPool } from '../workers/task-pool.js';
import { throwIfStopped } from './output-failure.js';
import { compositeSide, type MapPictures, mapPictures } from './report/report-pictures.js';
import { thumbnailSize } from './report/thumbnails.js';
import type { RunRecord } from './run-record.js';
import { type StoredMaps, type StoredSeen, seenIn, storedRows } from './stored-maps.js';
import type { Picture } from './write-composite.js';
import type { DepthRange } from './write-maps.js';
import { writeTogether } from './write-together.js';
import { type WritingTasks, writingTasks } from './writing-tasks.js';

const workerFile = fileURLToPath(new URL('../../dist/bundles/writing-worker.js', import.meta.url));

/** Results of fewer pixels are written sooner than threads start. Tests set another bound. */
export const threadsFrom = { pixels: 6e6 };
/** Five maps, their pictures, the composite and its picture: no more is done at once. */
const mostThreads = 8;
/** That make the composite smaller while others write it. */
const shrinkingThreads = 4;
/** Of fewer threads none can be spared beside the blend. */
const minThreads = 4;

/**
 * Writes a result in threads of their own, where the merge has threads enough and what is written lies in memory that
 * threads share; else in this thread. What is written is the same. To be closed.
 */
export class WritingThreads {
  #pool: TaskPool<WritingTasks> | undefined;
  /** Memory that was taken ahead. */
  readonly #spare: SharedArrayBuffer[] = [];
  readonly #stop = () => void this.close();

  constructor(private readonly signal?: AbortSignal) {}

  /**
   * Starts threads for a result of so many pixels, where they are worth it.
   *
   * @param bytes Of memory that `take` will be asked for: the threads take it ahead, for its pages are slow to come by.
   */
  start(pixels: number, threads: number, bytes: readonly number[] = []): void {
    if (this.#pool || pixels < threadsFrom.pixels || threads < minThreads) return;
    const pool = new TaskPool<WritingTasks>(
      workerFile,
      {},
      threadsInAddressSpace(Math.min(mostThreads, threads >> 1)),
    );
    this.#pool = pool;
    // One for all tasks, of which more run at once than Node takes for usual.
    this.signal?.addEventListener('abort', this.#stop);
    for (const count of bytes) {
      pool
        .run('take', () => ({ bytes: count }))
        .then(
          (memory) => void this.#spare.push(memory),
          // Other tasks fail too, and tell why.
          () => {},
        );
    }
  }

  /** Memory of zeros, which threads share where there are any. */
  take(bytes: number): Uint8Array<ArrayBufferLike> {
    if (!this.#pool) return new Uint8Array(bytes);
    const [fitting] = this.#spare
      .filter(({ byteLength }) => byteLength >= bytes)
      .sort((one, other) => one.byteLength - other.byteLength);
    if (!fitting) return new Uint8Array(new SharedArrayBuffer(bytes));
    this.#spare.splice(this.#spare.indexOf(fitting), 1);
    return new Uint8Array(fitting, 0, bytes);
  }

  /**
   * Does a task of writing. Rejects with OutputError or InterruptedError.
   *
   * @param pixels What of it must lie in shared memory for a thread to do it.
   */
  async run<Name extends keyof WritingTasks>(
    name: Name,
    task: WritingTasks[Name]['task'],
    pixels: readonly ArrayBufferView[],
  ): Promise<WritingTasks[Name]['answer']> {
    const { signal } = this;
    throwIfStopped(signal);
    const doIt = writingTasks[name] as (
      task: WritingTasks[Name]['task'],
      signal?: AbortSignal,
    ) => Promise<WritingTasks[Name]['answer']>;
    if (!this.#pool || !pixels.every(({ buffer }) => buffer instanceof SharedArrayBuffer))
      return doIt(task, signal);
    const fromMs = clockMs();
    try {
      const answer = await this.#pool.run(name, () => task);
      const span = 'file' in task ? basename(task.file.path) : name;
      publishSpan({ kind: 'write', name: span, fromMs, toMs: clockMs() });
      return answer;
    } catch (error) {
      throwIfStopped(signal);
      throw error;
    }
  }

  /**
   * Goes through the maps of a merge once, and replaces the ordinals of frames in them by their numbers.
   *
   * @param numbers By ordinal; 0 stays 0.
   */
  async lookAt(maps: StoredMaps, numbers: Uint16Array): Promise<StoredSeen> {
    const { height } = maps;
    const count = this.#pool?.threads ?? 1;
    const rowOf = (part: number) => Math.floor((part * height) / count);
    const parts = await Promise.all(
      Array.from({ length: count }, (_, i) =>
        this.run('count', { maps, numbers, top: rowOf(i), bottom: rowOf(i + 1) }, pixelsOf(maps)),
      ),
    );
    return seenIn(parts, maps);
  }

  /** The maps for the report, each in a thread. */
  async mapPictures(
    maps: StoredMaps,
    record: Pick<RunRecord, 'frames' | 'direction'>,
    range: DepthRange,
  ): Promise<MapPictures> {
    if (!this.#pool) return mapPictures(storedRows(maps), record, range);
    const draw = (map: keyof MapPictures) =>
      this.run('mapPicture', { map, maps, record, range }, pixelsOf(maps));
    const [depth, sources, confidence, coverage] = await writeTogether([
      draw('depth'),
      draw('sources'),
      draw('confidence'),
      draw('coverage'),
    ]);
    return { depth, sources, confidence, coverage };
  }

  /** The composite for the report, made smaller by several threads. */
  async compositePicture(picture: Picture, icc: Buffer | undefined): Promise<string> {
    const size = thumbnailSize(picture, compositeSide);
    const count = this.#pool ? Math.min(this.#pool.threads, shrinkingThreads) : 1;
    const rowOf = (part: number) => Math.floor((part * size.height) / count);
    const parts = await writeTogether(
      Array.from({ length: count }, (_, i) => {
        const rows = { from: rowOf(i), to: rowOf(i + 1) };
        return this.run('shrink', { picture, maxSide: compositeSide, ...rows }, [picture.pixels]);
      }),
    );
    const thumbnail = { pixels: Buffer.concat(parts), ...size, channels: picture.channels };
    return this.run('compositePicture', { thumbnail, icc }, []);
  }

  /** Ends the threads, whatever they are at. */
  async close(): Promise<void> {
    this.signal?.removeEventListener('abort', this.#stop);
    await this.#pool?.close();
  }
}

/** What of maps threads share. */
export function pixelsOf({ depthIndices, sources, confidence, coverage }: StoredMaps): ArrayBufferView[] {
  return [depthIndices, sources, confidence, coverage];
}

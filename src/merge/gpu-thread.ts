import { fileURLToPath } from 'node:url';
import type { FocusCurves } from '../focus/focus-curves.js';
import { GpuError } from '../gpu/gpu-error.js';
import type { FullSizeMeasurement, FullSizePlan } from '../rail/full-size-reading.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import type { FrameSource } from '../stack/kept-frames.js';
import type { SurfaceMaps } from '../surface/surface.js';
import { CalledThread } from '../workers/thread-calls.js';
import type { EngineTask, RemoteEngine } from './engine.js';
import type { FedFrame } from './feed-engine.js';
import { takeResult } from './gpu-engine.js';
import type { FramesSetup, GpuCalls, GpuOutcome } from './gpu-worker.js';
import type { MergeDevice } from './merge-device.js';

const workerFile = fileURLToPath(new URL('../../dist/bundles/gpu-worker.js', import.meta.url));

type Value<Name extends keyof GpuCalls> =
  Awaited<ReturnType<GpuCalls[Name]>> extends GpuOutcome<infer Answer> ? Answer : never;

/**
 * A graphics processor in a thread of its own, which decodes the frames as well: while the stack is registered, this one has no
 * time for either.
 */
export class GpuThread implements MergeDevice, FrameSource {
  readonly fullName: string;
  readonly isSoftware: boolean;
  readonly source: FrameSource = this;

  private constructor(
    private readonly thread: CalledThread<GpuCalls>,
    { fullName, isSoftware }: Value<'open'>,
  ) {
    this.fullName = fullName;
    this.isSoftware = isSoftware;
  }

  /** Throws GpuError where there is no such device. */
  static async open(index: number | undefined): Promise<GpuThread> {
    const thread = new CalledThread<GpuCalls>(workerFile);
    try {
      return new GpuThread(thread, outcomeOf(await thread.call('open', { index })));
    } catch (error) {
      await thread.close('close');
      throw error;
    }
  }

  prepare(setup: FramesSetup): void {
    // What fails is told by the engine.
    this.call('prepare', setup).catch(() => {});
  }

  decodeAhead(files: readonly FrameFile[]): void {
    this.call('decodeAhead', { files }).catch(() => {});
  }

  decode(file: FrameFile): Promise<DecodedFrame> {
    return this.call('decode', { file });
  }

  measureFull(plan: FullSizePlan, files: readonly FrameFile[]): Promise<FullSizeMeasurement | undefined> {
    return this.call('measureFull', { plan, files }).catch(() => undefined);
  }

  async start({ take, ...task }: EngineTask): Promise<RemoteEngine> {
    // Memory of this thread alone would be copied.
    const takeShared = (bytes: number) => {
      const memory = take(bytes);
      return memory.buffer instanceof SharedArrayBuffer
        ? memory
        : new Uint8Array(new SharedArrayBuffer(bytes));
    };
    const memory = takeResult({ ...task, take: takeShared });
    await this.call('start', { task, memory });
    const pass = (
      name: 'follow' | 'blend',
      frames: readonly FedFrame[],
      hotPixels: readonly SensorSpot[],
    ) => {
      const given = { frames, hotPixels, isLast: name === 'blend' };
      return (onDone: (done: number) => void) => this.call(name, given, onDone);
    };
    return {
      findHotPixels: (files) => this.call('hotPixels', { files }),
      followAll: (frames, hotPixels, onDone) => pass('follow', frames, hotPixels)(onDone),
      curves: async () => curvesOf(await this.call('curves', undefined)),
      findSurface: (nearSign, blurPx) => this.call('findSurface', { nearSign, blurPx }),
      plan: (nearSign, blurPx) => this.call('plan', { nearSign, blurPx }),
      findSpill: (nearSign, blurPx) => this.call('findSpill', { nearSign, blurPx }),
      readMaps: async () => {
        const maps: SurfaceMaps = { ...memory.maps, fractionBits: await this.call('readMaps', undefined) };
        return { maps, sources: memory.sources };
      },
      startBlend: (lost) => this.call('startBlend', { lost }),
      blendAll: (frames, onDone) => pass('blend', frames, [])(onDone),
      finish: async (bits) => {
        await this.call('finish', { bits });
        return memory.picture;
      },
      close: () => this.close(),
    };
  }

  close(): Promise<void> {
    return this.thread.close('close');
  }

  private async call<Name extends keyof GpuCalls & string>(
    name: Name,
    given: Parameters<GpuCalls[Name]>[0],
    onNews?: (news: never) => void,
  ): Promise<Value<Name>> {
    return outcomeOf((await this.thread.call(name, given, onNews)) as GpuOutcome<Value<Name>>);
  }
}

function outcomeOf<Answer>(outcome: GpuOutcome<Answer>): Answer {
  if ('failure' in outcome) throw new GpuError(outcome.failure, outcome.message);
  return outcome.value;
}

function curvesOf({ finest, sizes, grids, noiseCodes, bends, votes }: Value<'curves'>): FocusCurves {
  return {
    levels: grids.length,
    finest,
    state: sizes,
    grid: (level) => grids[level],
    noiseCodes: (level) => noiseCodes[level],
    bends,
    siteVotes: (level) => votes[level],
  };
}

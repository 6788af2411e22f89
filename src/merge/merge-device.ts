import { SystemError } from '../errors.js';
import { Gpu } from '../gpu/device.js';
import { GpuFrames } from '../gpu/frames.js';
import { GpuError } from '../gpu/gpu-error.js';
import { mayHaveGpu } from '../gpu/webgpu.js';
import { optionName } from '../option-names.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { FullSizeMeasurement, FullSizePlan } from '../rail/full-size-reading.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import type { FrameSource } from '../stack/kept-frames.js';
import type { EngineTask, MergeEngine, RemoteEngine } from './engine.js';
import { GpuEngine, takeResult } from './gpu-engine.js';
import { GpuThread } from './gpu-thread.js';
import type { FramesSetup } from './gpu-worker.js';
import { gpuMergeBytes } from './memory-need.js';
import type { RunLog } from './run-log.js';

/** A graphics processor that merges. */
export interface MergeDevice {
  /** With its driver, which has a share in the bytes that it makes. */
  readonly fullName: string;
  readonly isSoftware: boolean;
  /** Decodes the frames where they go to the device; absent: this thread does. */
  readonly source?: FrameSource;
  /** Measures frames in full where they are decoded; undefined where that fails. */
  measureFull?(plan: FullSizePlan, files: readonly FrameFile[]): Promise<FullSizeMeasurement | undefined>;
  /** Begins what a merge will need of the device, whatever its frames show. */
  prepare(setup: FramesSetup): void;
  /** Sends a frame over in advance. */
  sendAhead?(frame: FrameFile, decoded: DecodedFrame): void;
  /** Starts the stations; throws GpuError. */
  start(task: EngineTask): Promise<MergeEngine | RemoteEngine>;
  /** Ends all work at once; done when the process may end. */
  close(): Promise<void>;
}

/** From so many pixels of a frame on a device has a thread of its own. Tests set another bound. */
export const gpuThreadFrom = { pixels: 6e6 };
/** Of fewer threads none can be spared. */
const minThreads = 4;

/** Whether a device is worth a thread of its own. */
export function isWorthThread(frames: readonly FrameFile[], threads: number): boolean {
  const [{ size }] = frames;
  // Raw files are developed by threads of this one.
  return (
    threads >= minThreads &&
    size.width * size.height >= gpuThreadFrom.pixels &&
    frames.every(({ raw }) => raw === undefined)
  );
}

/**
 * The graphics processor that a merge is to run on; undefined: the processor merges.
 *
 * @param isApart In a thread of its own.
 * @throws SystemError where one is asked for and there is none, unless the merge is unattended: then that is a warning.
 */
export async function openMergeDevice(
  device: MergeOptions['device'],
  isApart: boolean,
  log: RunLog,
): Promise<MergeDevice | undefined> {
  if (device === 'cpu' || (device === 'auto' && !mayHaveGpu())) return undefined;
  const [, number] = device.split(':');
  const index = number === undefined ? undefined : Number(number);
  try {
    const opened = isApart ? await GpuThread.open(index) : await OwnGpu.open(index);
    // The processor itself is faster than its imitation of a graphics processor.
    if (device === 'auto' && opened.isSoftware) {
      await opened.close();
      return undefined;
    }
    return opened;
  } catch (error) {
    if (!(error instanceof GpuError)) throw error;
    if (device === 'auto') return undefined;
    if (log.isUnattended) {
      log.warn(`The processor merges, for ${error.message}.`);
      return undefined;
    }
    throw new SystemError(
      'graphics',
      `${optionName('device')} asks for a graphics processor, but ${error.message}. Without ${optionName('device')} the processor merges.`,
      { cause: error },
    );
  }
}

/** A graphics processor that this thread works with itself. */
class OwnGpu implements MergeDevice {
  private sent: GpuFrames | undefined;

  private constructor(private readonly gpu: Gpu) {}

  static async open(index: number | undefined): Promise<OwnGpu> {
    return new OwnGpu(await Gpu.open(index === undefined ? {} : { index }));
  }

  get fullName(): string {
    return this.gpu.fullName;
  }

  get isSoftware(): boolean {
    return this.gpu.isSoftware;
  }

  prepare({ size, bits, room }: FramesSetup): void {
    // Awaited by the engine, which tells what fails.
    this.gpu.compileAll().catch(() => {});
    this.sent = new GpuFrames(this.gpu, size, bits, room, gpuMergeBytes(size));
  }

  sendAhead({ number }: FrameFile, decoded: DecodedFrame): void {
    this.sent?.sendAhead(number, decoded);
  }

  start(task: EngineTask): Promise<MergeEngine> {
    const { gpu } = this;
    const sent = this.sent ?? new GpuFrames(gpu, task.frame, task.bits);
    return GpuEngine.start(gpu, task, sent, takeResult(task));
  }

  close(): Promise<void> {
    return this.gpu.close();
  }
}

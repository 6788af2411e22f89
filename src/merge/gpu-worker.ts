import { Gpu } from '../gpu/device.js';
import { GpuFrames } from '../gpu/frames.js';
import { GpuError, type GpuFailure } from '../gpu/gpu-error.js';
import type { Size } from '../image/image.js';
import { decodeThreads } from '../stack/decode-threads.js';
import { KeptFrames } from '../stack/kept-frames.js';
import { type Callable, serveCalls } from '../workers/thread-calls.js';
import type { EngineTask } from './engine.js';
import { type FramePass, feedEngine } from './feed-engine.js';
import { frameCalls } from './frame-calls.js';
import { type FramePlacer, placerOf } from './frame-placer.js';
import { GpuEngine, type ResultMemory } from './gpu-engine.js';
import { gpuMergeBytes } from './memory-need.js';

// A graphics processor and the frames that go to it, in a thread of their own: opening it, decoding and copying keep one busy.

let gpu: Gpu;
let kept: KeptFrames;
let placer: FramePlacer;
let sent: GpuFrames;
let engine: GpuEngine;

/** What is the same for all frames. */
export interface FramesSetup {
  size: Size;
  bits: 8 | 16;
  /** Bytes of frames that may be kept. */
  room: number;
}

type NearSign = -1 | 0 | 1;

const calls = {
  ...frameCalls(() => kept),

  async open({ index }: { index: number | undefined }) {
    gpu = await Gpu.open(index === undefined ? {} : { index });
    return { fullName: gpu.fullName, isSoftware: gpu.isSoftware };
  },

  /** Begins what a merge will need of the device, whatever its frames show. */
  prepare({ size, bits, room }: FramesSetup): void {
    // Awaited by the engine, which tells what fails.
    gpu.compileAll().catch(() => {});
    kept = new KeptFrames(room, decodeThreads);
    placer = placerOf(kept, size);
    sent = new GpuFrames(gpu, size, bits, room, gpuMergeBytes(size));
    kept.onDecoded = ({ number }, decoded) => sent.sendAhead(number, decoded);
  },

  async start({ task, memory }: { task: Omit<EngineTask, 'take'>; memory: ResultMemory }): Promise<void> {
    engine = await GpuEngine.start(gpu, task, sent, memory);
  },

  async follow(pass: FramePass, tell: (done: number) => void): Promise<void> {
    decodeMissing(pass);
    await feedEngine(
      engine,
      pass,
      placer,
      (frame) => engine.follow(frame),
      () => {},
      tell,
    );
    // For the blend, beside the surface.
    decodeMissing({ ...pass, hotPixels: [] });
  },

  async curves() {
    const curves = await engine.curves();
    const levels = Array.from({ length: curves.levels }, (_, level) => level);
    return {
      finest: curves.finest,
      sizes: curves.state.map(({ width, height }) => ({ width, height })),
      grids: levels.map((level) => curves.grid(level)),
      noiseCodes: levels.map((level) => curves.noiseCodes(level)),
      bends: curves.bends ?? [],
      votes: levels.map((level) => [...(curves.siteVotes(level, 0, 0) ?? [])]),
    };
  },

  findSurface({ nearSign, blurPx }: { nearSign: NearSign; blurPx: number | undefined }): Promise<number> {
    return engine.findSurface(nearSign, blurPx);
  },

  plan({ nearSign, blurPx }: { nearSign: NearSign; blurPx: number | undefined }): Promise<void> {
    return engine.plan(nearSign, blurPx);
  },

  findSpill({ nearSign, blurPx }: { nearSign: -1 | 1; blurPx: number }): Promise<number> {
    return engine.findSpill(nearSign, blurPx);
  },

  /** Into the memory that was given. Returns the fraction bits of the depth indices. */
  async readMaps(): Promise<number> {
    const { maps } = await engine.readMaps();
    return maps.fractionBits;
  },

  startBlend({ lost }: { lost: number }): Promise<void> {
    return engine.startBlend(lost);
  },

  blend(pass: FramePass, tell: (done: number) => void): Promise<void> {
    return feedEngine(
      engine,
      pass,
      placer,
      (frame) => engine.blend(frame),
      () => {},
      tell,
    );
  },

  async finish({ bits }: { bits: 8 | 16 }): Promise<void> {
    await engine.finish(bits);
  },

  /** Ends the device, then the thread. */
  async close(): Promise<void> {
    kept?.close();
    await gpu?.close();
    process.exit();
  },
};

/** Decodes the frames that the device lacks, or has with their hot pixels. */
function decodeMissing({ frames, hotPixels }: FramePass): void {
  const missing = frames.filter(({ frame }) => hotPixels.length > 0 || !engine.has(frame.ordinal));
  kept.decodeAhead(missing.map(({ file }) => file));
}

/** What a call comes to: where the device cannot do it, that is told as plain data. */
export type GpuOutcome<Value> = { value: Value } | { failure: GpuFailure; message: string };
type Calls = typeof calls;
export type GpuCalls = {
  [Name in keyof Calls]: (
    given: Parameters<Calls[Name]>[0],
    tell: (news: unknown) => void,
  ) => Promise<GpuOutcome<Awaited<ReturnType<Calls[Name]>>>>;
};

const offered = Object.entries(calls as Callable).map(([name, call]) => {
  const told = async (given: never, tell: (news: unknown) => void): Promise<GpuOutcome<unknown>> => {
    try {
      return { value: await call(given, tell) };
    } catch (error) {
      if (!(error instanceof GpuError)) throw error;
      return { failure: error.failure, message: error.message };
    }
  };
  return [name, told];
});
serveCalls(Object.fromEntries(offered));

import { existsSync, mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeAll, expect, it, onTestFinished, vi } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { mergeStack } from '../../src/batch/merge-stack.js';
import { InterruptedError } from '../../src/errors.js';
import { Gpu } from '../../src/gpu/device.js';
import { mapMode } from '../../src/gpu/flags.js';
import { GpuFrames } from '../../src/gpu/frames.js';
import { GpuError } from '../../src/gpu/gpu-error.js';
import { merge } from '../../src/index.js';
import { GpuEngine } from '../../src/merge/gpu-engine.js';
import { gpuThreadFrom } from '../../src/merge/merge-device.js';
import type { MergeEvent } from '../../src/merge/merge-event.js';
import type { MergeOptions } from '../../src/options/merge-options.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { halvedFrom } from '../../src/surface/surface.js';
import { makeFolder } from '../stack/pictures.js';
import { compareResults } from './compare-results.js';
import { describeGpu } from './gpu-rig.js';

const { pixels: fromPixels } = halvedFrom;
const { pixels: threadPixels } = gpuThreadFrom;
const maps = ['composite.tif', 'depth.tif', 'sources.png', 'confidence.png', 'coverage.png'];

describeGpu('a merge on a graphics processor', (rig) => {
  let frames: string;
  const parent = makeFolder();

  beforeAll(async () => {
    await renderScene({ scene: 'insect-head', out: parent, width: 144, height: 108, frames: 7 });
    frames = join(parent, 'frames');
  });

  afterEach(() => {
    vi.restoreAllMocks();
    halvedFrom.pixels = fromPixels;
    gpuThreadFrom.pixels = threadPixels;
  });

  /** Merges on the device of the rig, as compiling all kernels for each would take seconds. */
  async function mergeTo(
    name: string,
    options: Partial<MergeOptions>,
    onEvent: (event: MergeEvent) => void = () => {},
  ) {
    vi.spyOn(Gpu, 'open').mockResolvedValue(rig.gpu);
    vi.spyOn(Gpu.prototype, 'close').mockResolvedValue();
    const out = join(parent, name);
    const events: MergeEvent[] = [];
    const note = (event: MergeEvent) => {
      events.push(event);
      onEvent(event);
    };
    await merge(frames, { out, threads: 2, ...options }, { onEvent: note });
    return { out, record: await readRunRecord(out), events };
  }

  it.each([
    ['auto', fromPixels],
    ['select', fromPixels],
    ['select', 0],
    ['weigh', fromPixels],
  ] as const)(
    'equals that on the processor (%s, surface at half the size from %i px)',
    async (rule, pixels) => {
      halvedFrom.pixels = pixels;
      const [processor, device] = [
        await mergeTo(`processor-${rule}${pixels === 0 ? '-halved' : ''}`, { rule, device: 'cpu' }),
        await mergeTo(`device-${rule}${pixels === 0 ? '-halved' : ''}`, { rule, device: 'gpu' }),
      ];
      expect(processor.record.device).toBe('processor');
      expect(device.record.device).toMatch(/^SwiftShader Device .* \(SwiftShader driver [\d.]+\)$/);
      const difference = await compareResults(processor.out, device.out);
      expect(difference.compositeWithin).toBeGreaterThan(0.999);
      expect(difference.depthMedian).toBeLessThan(0.02);
      expect(difference.sourcesSame).toBeGreaterThan(0.99);
      expect(difference.coverageSame).toBeGreaterThan(0.99);
      expect(device.record.notes).toEqual(processor.record.notes);
      expect(device.record.direction).toBe(processor.record.direction);
    },
  );

  it('gives the same bytes again', async () => {
    const { out } = await mergeTo('again', { device: 'gpu' });
    for (const file of maps) {
      expect(
        readFileSync(join(out, file)).equals(readFileSync(join(parent, 'device-auto', file))),
        file,
      ).toBe(true);
    }
  });

  it('repairs hot pixels, of frames that went over in advance too', async () => {
    const clean = frames;
    frames = join(parent, 'hot');
    onTestFinished(() => {
      frames = clean;
    });
    mkdirSync(frames);
    const [width, spot] = [144, { x: 61, y: 47 }];
    for (const name of readdirSync(clean)) {
      const { data, info } = await sharp(join(clean, name)).raw().toBuffer({ resolveWithObject: true });
      data.fill(255, 3 * (spot.y * width + spot.x), 3 * (spot.y * width + spot.x + 1));
      const file = join(frames, name.replace(/\.\w+$/, '.png'));
      await sharp(data, { raw: { width, height: info.height, channels: 3 } }).toFile(file);
    }
    const sent = vi.spyOn(GpuFrames.prototype, 'has');
    const pictures = await Promise.all(
      (['cpu', 'gpu'] as const).map(async (device) => {
        const { out, record } = await mergeTo(`hot-${device}`, { rule: 'weigh', device });
        expect(record.device === 'processor').toBe(device === 'cpu');
        return sharp(join(out, 'composite.tif')).raw().toBuffer();
      }),
    );
    expect(sent.mock.results.some(({ value }) => value === true)).toBe(true);
    for (let i = 0; i < pictures[0].length; i++) {
      expect(Math.abs(pictures[0][i] - pictures[1][i])).toBeLessThan(8);
    }
  });

  it('waits for nothing of the device between frames', async () => {
    const { globals } = await import('webgpu');
    const { GPUBuffer, GPUQueue } = globals as Record<string, { prototype: object }>;
    const calls: { stage: string; call: string }[] = [];
    let stage = '';
    const note = (prototype: object, name: string, callOf: (mode: unknown) => string) => {
      const original: (...given: unknown[]) => unknown = Reflect.get(prototype, name);
      Reflect.set(prototype, name, function (this: unknown, ...given: unknown[]) {
        calls.push({ stage, call: callOf(given[0]) });
        return original.apply(this, given);
      });
      onTestFinished(() => void Reflect.set(prototype, name, original));
    };
    note(GPUBuffer.prototype, 'mapAsync', (mode) => (mode === mapMode.read ? 'read' : 'map'));
    note(GPUQueue.prototype, 'submit', () => 'submit');
    note(GPUQueue.prototype, 'onSubmittedWorkDone', () => 'settle');
    await mergeTo('traced', { device: 'gpu' }, (event) => {
      if (event.event === 'stage') stage = event.stage;
    });
    const callsIn = (name: string) => calls.filter((one) => one.stage === name).map(({ call }) => call);
    // The frames went over while they were registered.
    expect(callsIn('focus')).toEqual(Array.from({ length: 7 }, () => 'submit'));
    expect(callsIn('blend')).not.toContain('map');
    expect(callsIn('blend')).not.toContain('settle');
    // Beside the frames three of the maps, and at the end the picture.
    expect(callsIn('blend').filter((call) => call === 'read')).toHaveLength(4);
  });

  it('is the same in a thread of its own, and ends with nothing under way', { timeout: 90_000 }, async () => {
    gpuThreadFrom.pixels = 0;
    const open = vi.spyOn(Gpu, 'open');
    const out = join(parent, 'apart');
    const options = { out, threads: 4, device: 'gpu', rule: 'weigh' } as const;
    const stages: string[] = [];
    const control = new AbortController();
    const onEvent = (event: MergeEvent) => {
      if (event.event === 'stage') stages.push(event.stage);
      if (event.event === 'progress' && event.stage === 'register') control.abort();
    };
    const stopped = merge(frames, options, { onEvent, signal: control.signal });
    await expect(stopped).rejects.toBeInstanceOf(InterruptedError);
    expect(stages).toEqual(['list', 'register']);
    expect(existsSync(out)).toBe(false);
    await merge(frames, options);
    expect(open).not.toHaveBeenCalled();
    expect((await readRunRecord(out)).device).toMatch(/^SwiftShader/);
    for (const file of maps) {
      expect(
        readFileSync(join(out, file)).equals(readFileSync(join(parent, 'device-weigh', file))),
        file,
      ).toBe(true);
    }
  });

  it.each([
    ['while the focus curves are followed', 'follow'],
    ['while the picture is blended', 'blend'],
  ] as const)('that the device breaks off goes on with the processor (%s)', async (_, call) => {
    let calls = 0;
    const original = GpuEngine.prototype[call];
    vi.spyOn(GpuEngine.prototype, call).mockImplementation(async function (this: GpuEngine, frame) {
      if (++calls === 4) throw new GpuError('lost', 'the graphics processor went away (unplugged)');
      return original.call(this, frame);
    });
    const { out, record, events } = await mergeTo(`lost-${call}`, { rule: 'weigh', device: 'gpu' });
    expect(record.device).toBe('processor');
    expect(record.warnings).toContain(
      'The processor merges from the start, for the graphics processor went away (unplugged).',
    );
    for (const file of maps) {
      expect(
        readFileSync(join(out, file)).equals(readFileSync(join(parent, 'processor-weigh', file))),
        file,
      ).toBe(true);
    }
    const found = events.filter(({ event }) => event === 'finding').map((event) => JSON.stringify(event));
    expect(new Set(found).size).toBe(found.length);
    expect(new Set(record.notes).size).toBe(record.notes.length);
  });

  it('asked for where it is not: a batch merges on the processor and says so, and a merge is refused', async () => {
    const options = resolveOptions({ device: 'gpu:7', rule: 'weigh', threads: 2 });
    const out = join(parent, 'unattended');
    const job = { folder: frames, out, options, files: [], wholeFolder: false, nice: 0 };
    expect(await mergeStack(job, () => {}, new AbortController().signal)).toMatchObject({ state: 'done' });
    const { device, warnings } = await readRunRecord(out);
    expect(device).toBe('processor');
    expect(warnings).toContainEqual(
      expect.stringMatching(
        /^The processor merges, for there is no graphics processor 7 \(there are: 0 swiftshader/i,
      ),
    );
    await expect(merge(frames, { ...options, out: join(parent, 'attended') })).rejects.toThrow(
      /device asks for a graphics processor, but there is no graphics processor 7 .* Without device the processor merges/,
    );
  });

  it('is not begun by itself where the processor plays the device', async () => {
    const { record } = await mergeTo('by-itself', { device: 'auto', rule: 'weigh' });
    expect(record.device).toBe('processor');
  });
});

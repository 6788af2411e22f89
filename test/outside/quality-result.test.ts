import { createHash } from 'node:crypto';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { identityMatrix } from '../../src/image/transform.js';
import { readRaster } from '../quality/raster.js';
import { readResult } from '../quality/result.js';
import type { SceneRecord } from '../quality/scene.js';

const [width, height] = [8, 4];
/** Five frames of irregular travel; the middle one is the anchor. */
const record: SceneRecord = {
  width,
  height,
  anchor: 3,
  stepMm: 0.1,
  positionsMm: [-0.25, -0.1, 0, 0.12, 0.2],
  transforms: new Array(5).fill(identityMatrix),
};

/** The frame files: none to begin with. */
let framePaths: string[] = [];
let dir = '';
beforeEach(async () => {
  framePaths = [];
  dir = await mkdtemp(join(tmpdir(), 'lamella-result-'));
  await sharp({ create: { width, height, channels: 3, background: '#204060' } })
    .png()
    .toFile(join(dir, 'composite.png'));
});
afterEach(() => rm(dir, { recursive: true }));

async function writeDepth(values: readonly number[]): Promise<void> {
  const depth = Float32Array.from({ length: width * height }, (_, i) => values[i] ?? Number.NaN);
  const raw = { raw: { width, height, channels: 1 as const } };
  // The detour makes sharp keep floats: a plain float input would be cut to whole numbers.
  await sharp(depth, raw)
    .joinChannel(Buffer.from(depth.buffer), raw)
    .toColourspace('scrgb')
    .extractChannel(0)
    .tiff({ compression: 'none' })
    .toFile(join(dir, 'depth.tif'));
}

const frameBytes = (number: number) => `bytes of frame ${number}`;
const sha256 = (bytes: string) => createHash('sha256').update(bytes).digest('hex');

async function writeFrame(number: number): Promise<void> {
  framePaths.push(join(dir, `${number}.jpg`));
  await writeFile(join(dir, `${number}.jpg`), frameBytes(number));
}

const writeRun = (run: object) => writeFile(join(dir, 'run.json'), JSON.stringify(run));
const steps = async () => [
  ...((await readResult(dir, { record, framePaths })).depthSteps?.subarray(0, 4) ?? []),
];

function expectClose(found: number[], expected: number[]): void {
  expect(found.length).toBe(expected.length);
  for (const [i, value] of expected.entries()) {
    if (Number.isNaN(value)) expect(found[i]).toBeNaN();
    else expect(found[i]).toBeCloseTo(value, 5);
  }
}

describe('reading a result folder for measuring', () => {
  it('needs a composite alone', async () => {
    const result = await readResult(dir, { record, framePaths });
    expect([result.depthSteps, result.transforms]).toEqual([undefined, undefined]);
    expect([...result.composite.rgb.subarray(0, 3)]).toEqual([0x20 * 257, 0x40 * 257, 0x60 * 257]);
    await rm(join(dir, 'composite.png'));
    await expect(readResult(dir, { record, framePaths })).rejects.toThrow(
      /Expected composite\.tif, \.png or \.jpg/,
    );
  });

  it('divides millimetres by the nominal step', async () => {
    await writeDepth([0, 0.05, -0.2]);
    await writeRun({ maps: { depth: { unit: 'mm' } } });
    expectClose(await steps(), [0, 0.5, -2, Number.NaN]);
  });

  it('carries depths counted in frames through the true positions', async () => {
    await writeDepth([0, 0.5, -2, 3]);
    // Half way to 0.12 mm; the first frame; one step of 0.08 mm past the last.
    expectClose(await steps(), [0, 0.6, -2.5, 2.8]);
  });

  it('carries depths through the depths that the run gives its frames, those left out set aside', async () => {
    await writeDepth([0, 0.75, 1.5, -1]);
    for (let number = 1; number <= 5; number++) await writeFrame(number);
    const frame = (number: number, used: boolean, depth: number | null) => ({
      name: `${number}.jpg`,
      sha256: sha256(frameBytes(number)),
      number,
      used,
      depth,
      transform: used ? identityMatrix : null,
    });
    const frames = [
      frame(1, true, -2),
      frame(2, true, -1),
      frame(3, true, 0),
      frame(4, false, 1.4),
      frame(5, true, 1.5),
    ];
    await writeRun({ anchorNumber: 3, frames });
    expectClose(await steps(), [0, 1, 2, -1]);
    expect(
      (await readResult(dir, { record, framePaths })).transforms?.map((matrix) => matrix !== undefined),
    ).toEqual([true, true, true, false, true]);
  });

  it('refuses a result of other frames, even of the same name', async () => {
    await writeFrame(1);
    const run = (bytes: string) => ({
      frames: [{ number: 1, name: '1.jpg', sha256: sha256(bytes), used: true }],
    });
    await writeRun(run(frameBytes(1)));
    await expect(readResult(dir, { record, framePaths })).resolves.toBeDefined();
    await writeRun(run('an earlier rendering'));
    await expect(readResult(dir, { record, framePaths })).rejects.toThrow(/merged from another 1\.jpg/);
  });

  it('refuses a result in the framing of another anchor', async () => {
    await writeRun({ anchorNumber: 2 });
    await expect(readResult(dir, { record, framePaths })).rejects.toThrow(/--anchor 3/);
  });
});

describe('reading a picture for measuring', () => {
  it('keeps all 16 bits, of grey too', async () => {
    const samples = Uint16Array.from({ length: 12 }, (_, i) => i * 5003 + 1);
    const colour = join(dir, 'colour.png');
    await sharp(samples, { raw: { width: 2, height: 2, channels: 3 } })
      .toColourspace('rgb16')
      .png()
      .toFile(colour);
    expect([...(await readRaster(colour)).rgb]).toEqual([...samples]);
    const grey = join(dir, 'grey.tif');
    await sharp(samples, { raw: { width: 4, height: 3, channels: 1 } })
      .toColourspace('grey16')
      .tiff({ compression: 'none' })
      .toFile(grey);
    expect([...(await readRaster(grey)).rgb]).toEqual([...samples].flatMap((value) => [value, value, value]));
  });
});

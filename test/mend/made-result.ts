import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { applyMatrix, invertMatrix, type Matrix3 } from '../../src/image/transform.js';
import type { Mend } from '../../src/mend/mends-file.js';
import { coverageClasses } from '../../src/result/coverage.js';
import type { RunFrame } from '../../src/result/run-record.js';
import { writeComposite } from '../../src/result/write-composite.js';
import { writeMaps } from '../../src/result/write-maps.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { seededRandom } from '../outside/seeded-random.js';
import { sampleFrame, sampleRecord } from '../result/sample-record.js';
import { removeAfter } from '../temporary-folders.js';

export const size = { width: 220, height: 170 };
const { width, height } = size;

/** Frame pixel to composite pixel: a little scale, roll and shift, and the anchor that has none. */
const transforms: readonly Matrix3[] = [
  [1.004, -0.002, 1.3, 0.002, 1.004, -2.2, 0, 0, 1],
  [1, 0, 0, 0, 1, 0, 0, 0, 1],
  [0.99, 0.001, 2.6, -0.001, 0.99, 1.9, 0, 0, 1],
];
const gains = [1.05, 1, 0.96];

/** The subject as frame `number` sees it, in its own light, at a composite pixel: smooth, so that resampling is exact. */
export function subjectAt(number: number, x: number, y: number, channel: number): number {
  return 120 + 50 * Math.sin(x / (7 + number) + channel) * Math.cos(y / (9 - number)) + 6 * number;
}

/** A square of the subject from frame 3. */
export const squareMend: Mend = {
  id: 1,
  frame: 3,
  region: { kind: 'rectangle', x: 80, y: 60, width: 40, height: 40 },
  featherPx: 10,
  note: '',
  kept: true,
};

export interface MadeOptions {
  bits?: 8 | 16;
  channels?: 1 | 3;
  format?: 'tif' | 'png' | 'jpg';
  icc?: Buffer;
  exif?: Buffer;
}

export interface MadeResult {
  folder: string;
  frames: string;
  parent: string;
}

/**
 * A result of three frames whose pixels follow a formula, with noise as its composite. Frame 4 was left out.
 * Removed after the test.
 */
export async function makeResult(options: MadeOptions = {}): Promise<MadeResult> {
  const result = await buildResult(options);
  removeAfter('test', result.parent);
  return result;
}

/** As `makeResult`, for several tests: to be removed by its maker. */
export async function makeLastingResult(
  options: MadeOptions = {},
): Promise<MadeResult & { remove: () => void }> {
  const result = await buildResult(options);
  return { ...result, remove: () => rmSync(result.parent, { recursive: true, force: true }) };
}

async function buildResult(options: MadeOptions): Promise<MadeResult> {
  const { bits = 8, channels = 3, format = 'tif', icc, exif } = options;
  const parent = mkdtempSync(join(tmpdir(), 'lamella-mend-'));
  const frames = join(parent, 'frames');
  const folder = join(parent, 'merged');
  mkdirSync(frames);
  mkdirSync(folder);
  const records: RunFrame[] = [];
  for (const [i, transform] of transforms.entries()) {
    const name = `f${i + 1}.png`;
    writeFileSync(join(frames, name), await framePicture(i + 1, transform, bits, channels));
    const sha256 = createHash('sha256')
      .update(readFileSync(join(frames, name)))
      .digest('hex');
    const gainRatio = new Array<number>(channels).fill(gains[i]);
    records.push(
      sampleFrame(i + 1, {
        name,
        path: name,
        sizeBytes: statSync(join(frames, name)).size,
        sha256,
        transform,
        gainRatio,
        depth: i - 1,
      }),
    );
  }
  records.push(
    sampleFrame(4, { used: false, transform: null, depth: null, leftOutReason: 'blurred by motion' }),
  );
  const random = seededRandom(11);
  const count = width * height;
  const noise = Float64Array.from({ length: count * channels }, () => random() * 2 ** bits);
  const pixels = bits === 8 ? Uint8Array.from(noise) : Uint16Array.from(noise);
  const software = 'Lamella test';
  const { notes: _, ...composite } = await writeComposite(
    folder,
    { pixels, ...size, channels },
    { format, icc, exif, software },
  );
  const maps = {
    ...size,
    depth: Float32Array.from({ length: count }, (_, i) => (i % 50 === 0 ? Number.NaN : random() * 3 - 1.5)),
    sources: Uint16Array.from({ length: count }, (_, i) => 1 + (i % 2)),
    confidence: Uint8Array.from({ length: count }, () => random() * 200),
    coverage: Uint8Array.from({ length: count }, (_, i) => i % coverageClasses.length),
  };
  const mapsRecord = await writeMaps(folder, maps, { unit: 'step', software });
  writeFileSync(join(folder, 'report.html'), 'the report of the merge');
  const record = sampleRecord({
    size,
    frameSize: size,
    folder: frames,
    bits,
    channels,
    frames: records,
    composite,
    maps: mapsRecord,
    crop: { x: 0, y: 0, ...size },
  });
  await writeRunRecord(folder, record);
  return { folder, frames, parent };
}

async function framePicture(
  number: number,
  transform: Matrix3,
  bits: 8 | 16,
  channels: 1 | 3,
): Promise<Buffer> {
  const unit = bits === 16 ? 257 : 1;
  const gain = gains[number - 1];
  const values = new Float64Array(width * height * channels);
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const [cx, cy] = applyMatrix(transform, x, y);
      for (let channel = 0; channel < channels; channel++, i++) {
        values[i] = Math.round((subjectAt(number, cx, cy, channel) / gain) * unit);
      }
    }
  }
  const raw = { width, height, channels };
  if (bits === 8) return sharp(Uint8Array.from(values), { raw }).png().toBuffer();
  return sharp(Uint16Array.from(values), { raw })
    .toColourspace(channels === 3 ? 'rgb16' : 'grey16')
    .png()
    .toBuffer();
}

/** Whether frame `number` shows a composite pixel at least `margin` pixels inside its edges. */
export function frameShows(number: number, x: number, y: number, margin: number): boolean {
  const [u, v] = applyMatrix(invertMatrix(transforms[number - 1]), x, y);
  return u >= margin && v >= margin && u <= width - 1 - margin && v <= height - 1 - margin;
}

/** Stored samples of a picture file, by sharp: (rows, cols, channels). */
export async function readSamples(
  path: string,
  bits: 8 | 16 | 32,
  channels: 1 | 3,
): Promise<Uint8Array | Uint16Array | Float32Array> {
  const picture = sharp(path, { ignoreIcc: true });
  if (bits === 8) {
    return new Uint8Array(
      await picture
        .toColourspace(channels === 3 ? 'srgb' : 'b-w')
        .raw()
        .toBuffer(),
    );
  }
  const depth = bits === 16 ? 'ushort' : 'float';
  const space = bits === 32 ? 'b-w' : channels === 3 ? 'rgb16' : 'grey16';
  const bytes = Uint8Array.from(await picture.toColourspace(space).raw({ depth }).toBuffer());
  return bits === 16 ? new Uint16Array(bytes.buffer) : new Float32Array(bytes.buffer);
}

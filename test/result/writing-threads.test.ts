import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { setImmediate } from 'node:timers/promises';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { InterruptedError, OutputError } from '../../src/errors.js';
import { merge } from '../../src/mend/merge.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { type StoredMaps, storedRows } from '../../src/result/stored-maps.js';
import { writeMaps } from '../../src/result/write-maps.js';
import { pixelsOf, threadsFrom, WritingThreads } from '../../src/result/writing-threads.js';
import { placeStack, renderPlane } from '../merge/small-stack.js';
import { seededRandom } from '../outside/seeded-random.js';
import { temporaryFolder } from './temporary-folder.js';

const { pixels: fromPixels } = threadsFrom;
const [width, height] = [90, 70];
const coverageClasses = 6;
const outOfReach = 5;
const options = { unit: 'step', software: 'test' } as const;
const files = ['depth.tif', 'depth.png', 'sources.png', 'confidence.png', 'coverage.png'];

afterEach(() => {
  threadsFrom.pixels = fromPixels;
});

/** Threads of which some start for any result. */
function threadsOf(signal?: AbortSignal): WritingThreads {
  threadsFrom.pixels = 0;
  const writing = new WritingThreads(signal);
  writing.start(width * height, 4);
  return writing;
}

/** Maps of a stack of nine frames, as a merge makes them. */
function sampleMaps(writing: WritingThreads): StoredMaps {
  const random = seededRandom(11);
  const count = width * height;
  const [depthIndices, sources] = [0, 1].map(() => new Uint16Array(writing.take(2 * count).buffer));
  const [confidence, coverage] = [0, 1].map(() => writing.take(count));
  for (let i = 0; i < count; i++) {
    depthIndices[i] = 64 * (9 + 9 * random());
    sources[i] = 10 * random();
    confidence[i] = 256 * random();
    coverage[i] = coverageClasses * random();
  }
  const depths = Float32Array.from({ length: 65536 }, (_, stored) => stored / 64 - 12);
  return { width, height, depthIndices, depths, sources, confidence, coverage };
}

const numbers = Uint16Array.from({ length: 10 }, (_, ordinal) => 3 * ordinal);

describe('a result that is written in threads', () => {
  it('has the files and the entry in run.json of one that is not', async () => {
    const entries = await Promise.all(
      [new WritingThreads(), threadsOf()].map(async (writing) => {
        const maps = sampleMaps(writing);
        const ordinals = maps.sources.slice();
        const rows = storedRows(maps);
        const seen = await writing.lookAt(maps, numbers);
        expect(maps.sources).toEqual(ordinals.map((ordinal) => numbers[ordinal]));
        const used = maps.sources.filter((number) => number === 27).length;
        expect(seen.pixels[27]).toBe(used);
        const depths = maps.depthIndices.filter(
          (_, i) => maps.sources[i] !== 0 && maps.coverage[i] !== outOfReach,
        );
        expect(seen.range).toEqual({
          min: Math.min(...depths) / 64 - 12,
          max: Math.max(...depths) / 64 - 12,
        });
        const dir = temporaryFolder();
        const entry = await writeMaps(dir, rows, {
          ...{ ...options, seen },
          writeFile: (file) => writing.run('map', { maps, file }, pixelsOf(maps)),
        });
        // What is known of maps is found out where it is not said.
        const plain = temporaryFolder();
        expect(await writeMaps(plain, rows, options)).toEqual(entry);
        for (const file of files)
          expect(readFileSync(join(dir, file))).toEqual(readFileSync(join(plain, file)));
        await writing.close();
        return { entry, files: files.map((file) => readFileSync(join(dir, file))) };
      }),
    );
    expect(entries[1]).toEqual(entries[0]);
  });

  it('lies in memory that the threads took ahead, as far as it is large enough', async () => {
    threadsFrom.pixels = 0;
    const writing = new WritingThreads();
    writing.start(1, 4, [100, 300]);
    await vi.waitUntil(() => writing.take(250).buffer.byteLength === 300);
    await vi.waitUntil(() => {
      const smaller = writing.take(50);
      expect(smaller).toEqual(new Uint8Array(50));
      return smaller.buffer.byteLength === 100;
    });
    expect(writing.take(50).buffer.byteLength).toBe(50);
    await writing.close();
  });

  it('fails by the error that the user is to read', async () => {
    const writing = threadsOf();
    const maps = sampleMaps(writing);
    const path = join(temporaryFolder(), 'gone', 'depth.tif');
    const file = { name: 'depth', path, mapping: { offset: 0, scale: 1 }, software: 'test' } as const;
    const failure = await writing.run('map', { maps, file }, pixelsOf(maps)).catch((error) => error);
    expect(failure).toBeInstanceOf(OutputError);
    expect(failure.message).toBe(`Cannot write ${path}: the folder disappeared meanwhile. Run again.`);
    await writing.close();
  });

  it('listens once for being stopped, however many tasks run', async () => {
    const warnings: Error[] = [];
    const note = (warning: Error) => void warnings.push(warning);
    process.on('warning', note);
    const writing = threadsOf(new AbortController().signal);
    const maps = sampleMaps(writing);
    await Promise.all(Array.from({ length: 12 }, () => writing.lookAt(maps, numbers)));
    await writing.close();
    await setImmediate();
    process.off('warning', note);
    expect(warnings).toEqual([]);
  });

  it('is given up when it is stopped', async () => {
    const control = new AbortController();
    const writing = threadsOf(control.signal);
    const maps = sampleMaps(writing);
    const looking = writing.lookAt(maps, numbers);
    control.abort();
    await expect(looking).rejects.toBeInstanceOf(InterruptedError);
    await expect(writing.lookAt(maps, numbers)).rejects.toBeInstanceOf(InterruptedError);
    await writing.close();
  });
});

it('a merge writes the same files in threads', { timeout: 60_000 }, async () => {
  const { files: stack } = await renderPlane({ format: 'jpg' });
  const { parent, frames } = placeStack(stack);
  const results = [];
  for (const pixels of [fromPixels, 0]) {
    threadsFrom.pixels = pixels;
    const out = join(parent, `merged-${pixels}`);
    await merge(frames, { out, threads: 4 });
    results.push(out);
  }
  const names = readdirSync(results[0]).filter((name) => name !== 'run.json' && name !== 'report.html');
  for (const name of names) {
    expect(readFileSync(join(results[1], name)).equals(readFileSync(join(results[0], name))), name).toBe(
      true,
    );
  }
  const [pictures, others] = results.map((out) =>
    readFileSync(join(out, 'report.html'), 'utf8').match(/data:image[^"]*/g),
  );
  expect(pictures).toHaveLength(5);
  expect(others).toEqual(pictures);
  const [one, other] = await Promise.all(results.map(readRunRecord));
  expect(other).toEqual({
    ...one,
    startedAt: other.startedAt,
    wallMs: other.wallMs,
    stagesMs: other.stagesMs,
  });
});

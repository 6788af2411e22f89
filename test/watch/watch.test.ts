import {
  appendFileSync,
  chmodSync,
  copyFileSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  renameSync,
  rmSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { check } from '../../src/check/check.js';
import { runCli } from '../../src/cli/run.js';
import { type WatchReport, watch } from '../../src/watch/watch.js';
import type { WatchEvent } from '../../src/watch/watch-events.js';
import type { WatchOptions } from '../../src/watch/watch-options.js';
import { fakeSystem } from '../cli/fake-system.js';
import { removeAfter } from '../temporary-folders.js';

let frames: string;
beforeAll(async () => {
  const root = mkdtempSync(join(tmpdir(), 'lamella-watch-'));
  removeAfter('file', root);
  await renderScene({ scene: 'tilted-plane', out: root, width: 320, height: 240, frames: 12, stepPart: 0.7 });
  frames = join(root, 'frames');
});

let folder: string;
let events: WatchEvent[];
let stop: AbortController;
let ended: Promise<WatchReport> | undefined;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'lamella-watched-'));
  removeAfter('test', folder);
  events = [];
  stop = new AbortController();
});
afterEach(async () => {
  stop.abort();
  await ended?.catch(() => {});
  ended = undefined;
});

function begin(options: Partial<WatchOptions> = {}): void {
  ended = watch(folder, options, { signal: stop.signal, onEvent: (event) => events.push(event) });
}

async function end(): Promise<WatchReport> {
  stop.abort();
  return ended!;
}

const nameOf = (number: number) => `${String(number).padStart(4, '0')}.jpg`;

/** Puts frames into the folder as if they had lain there. */
function put(...numbers: number[]): void {
  for (const number of numbers) {
    const path = join(folder, nameOf(number));
    copyFileSync(join(frames, nameOf(number)), `${path}.tmp`);
    utimesSync(`${path}.tmp`, 1e9 + number, 1e9 + number);
    renameSync(`${path}.tmp`, path);
  }
}

function told<Kind extends WatchEvent['event']>(kind: Kind): (WatchEvent & { event: Kind })[] {
  return events.filter((event): event is WatchEvent & { event: Kind } => event.event === kind);
}

async function until(isSo: () => boolean): Promise<void> {
  for (const started = Date.now(); !isSo(); ) {
    if (Date.now() - started > 60_000) throw new Error(`only ${events.map(({ event }) => event).join(' ')}`);
    await new Promise((resolve) => setTimeout(resolve, 30));
  }
}

const judged = (count: number) => until(() => told('frame').length >= count);

describe('frames that arrive one by one', () => {
  test('are judged once each, and the end says what a check says', async () => {
    begin({ stepMm: 0.05, plannedFrames: 14 });
    for (let number = 1; number <= 12; number++) {
      put(number);
      await judged(number);
    }
    const { findings, fit, frames: count } = await end();
    expect(told('frame').map(({ name }) => name)).toEqual(
      Array.from({ length: 12 }, (_, k) => nameOf(k + 1)),
    );
    expect(told('finding')).toEqual([]);
    const whole = await check(frames, { stepMm: 0.05 });
    const facts = (found: typeof findings) =>
      found.map(({ kind, rank, frames: own }) => ({ kind, rank, own }));
    expect(facts(findings)).toEqual(facts(whole.findings));
    expect({ fit, count }).toEqual({ fit: true, count: 12 });
    const last = told('frame').at(-1)!;
    expect(last).toMatchObject({ number: 12, framesToGo: 2, framesToGoBy: 'plan', plannedStepMm: 0.05 });
    // Twelve frames at even steps of 0.05 mm.
    expect(last.positionMm).toBeGreaterThan(0.5);
    expect(last.positionMm).toBeLessThan(0.6);
    // The plane is tilted to the right.
    const centres = told('frame').map(({ centre }) => centre?.x ?? Number.NaN);
    expect(centres[9] - centres[3]).toBeGreaterThan(0.3);
    expect(told('frame').every(({ isGood }) => isGood)).toBe(true);
    // The copies have the times of their originals, which were not taken years before their verdict.
    expect(told('frame').every(({ waitMs }) => waitMs < 60_000)).toBe(true);
  });

  test('say where a step was missed, and take it back when the frame comes after all', async () => {
    begin();
    put(1, 2, 3, 4, 5, 6, 8, 9);
    await until(() => told('finding').some(({ finding }) => finding.kind === 'missed-step'));
    const [{ finding }] = told('finding');
    expect(finding).toMatchObject({ kind: 'missed-step', files: [nameOf(6), nameOf(8)] });
    expect(
      told('frame')
        .filter(({ isGood }) => !isGood)
        .map(({ name }) => name),
    ).toContain(nameOf(8));
    put(7);
    await judged(9);
    await until(() => told('cleared').length > 0);
    expect(told('cleared')).toMatchObject([{ kind: 'missed-step' }]);
    expect(told('frame').at(-1)).toMatchObject({ name: nameOf(7), number: 7, frames: 9 });
    put(10);
    await judged(10);
    const { findings } = await end();
    expect(findings.filter(({ rank, kind }) => rank !== 'note' && !kind.startsWith('too-short'))).toEqual([]);
  });
});

describe('a file', () => {
  test('that arrives in pieces is judged when it is whole, and not before', async () => {
    begin();
    put(1);
    await judged(1);
    const bytes = readFileSync(join(frames, nameOf(2)));
    const path = join(folder, nameOf(2));
    writeFileSync(path, bytes.subarray(0, bytes.length >> 1));
    await until(() => told('arriving').length > 0);
    await new Promise((resolve) => setTimeout(resolve, 900));
    expect(told('frame')).toHaveLength(1);
    appendFileSync(path, bytes.subarray(bytes.length >> 1));
    await judged(2);
    expect(told('frame').at(-1)).toMatchObject({ name: nameOf(2), number: 2 });
    expect(told('finding')).toEqual([]);
  });

  test('that never becomes whole is named as lost, and keeps its number', async () => {
    begin();
    put(1, 2);
    writeFileSync(join(folder, nameOf(3)), readFileSync(join(frames, nameOf(3))).subarray(0, 5000));
    utimesSync(join(folder, nameOf(3)), 1e9, 1e9);
    put(4);
    await until(() => told('finding').some(({ finding }) => finding.kind === 'left-out'));
    const { finding } = told('finding')[0];
    expect(finding).toMatchObject({ kind: 'left-out', rank: 'spoils', frames: [3] });
    expect(finding.message).toMatch(
      /^Frame 3 cannot be read\. 0003\.jpg is cut short .*: copy it again from the card\.$/,
    );
    put(5);
    await judged(4);
    expect(told('frame').at(-1)).toMatchObject({ name: nameOf(5), number: 5, frames: 4 });
  });

  test('that is renamed or whose EXIF is edited is not judged again; one that is exchanged is', async () => {
    begin();
    put(1, 2, 3);
    await judged(3);
    renameSync(join(folder, nameOf(3)), join(folder, '0003b.jpg'));
    await until(() => told('renamed').length > 0);
    const edited = readFileSync(join(folder, nameOf(2)));
    const at = edited.indexOf('Sample bench');
    edited.write('Sample BENCH', at);
    writeFileSync(join(folder, nameOf(2)), edited);
    await new Promise((resolve) => setTimeout(resolve, 1500));
    expect(told('frame')).toHaveLength(3);
    expect(told('replaced')).toEqual([]);
    const brighter = await sharp(readFileSync(join(frames, '0003.jpg')))
      .linear(1.5, 0)
      .keepExif()
      .jpeg()
      .toBuffer();
    writeFileSync(join(folder, '0003b.jpg'), brighter);
    await judged(4);
    expect(told('replaced')).toEqual([{ event: 'replaced', name: '0003b.jpg' }]);
    expect(told('frame').at(-1)).toMatchObject({ name: '0003b.jpg', number: 3, frames: 3 });
  });

  test('that changes names with another is not judged again, nor are all that are renamed at once', async () => {
    begin();
    put(1, 2, 3, 4, 5, 6);
    await judged(6);
    const swapped = (name: string) => join(folder, name);
    renameSync(swapped(nameOf(5)), swapped('.aside'));
    renameSync(swapped(nameOf(6)), swapped(nameOf(5)));
    renameSync(swapped('.aside'), swapped(nameOf(6)));
    await until(() => told('renamed').length >= 2);
    for (let number = 1; number <= 6; number++)
      renameSync(swapped(nameOf(number)), swapped(`shot-${nameOf(number)}`));
    await until(() => told('renamed').length >= 8);
    await new Promise((resolve) => setTimeout(resolve, 1000));
    expect(told('frame')).toHaveLength(6);
    expect([...told('replaced'), ...told('gone')]).toEqual([]);
    const { frames: count, findings } = await end();
    expect(count).toBe(6);
    expect(findings.filter(({ kind }) => kind === 'duplicate' || kind === 'left-out')).toEqual([]);
  });

  test('of which only rights or links changed can be read again when a frame comes late', async () => {
    begin();
    put(1, 2, 3, 5, 6);
    await judged(5);
    for (const number of [1, 2, 3, 5, 6]) chmodSync(join(folder, nameOf(number)), 0o600);
    put(4);
    await judged(6);
    expect(told('frame').at(-1)).toMatchObject({ name: nameOf(4), number: 4, frames: 6 });
    expect((await end()).frames).toBe(6);
  });

  test('that is deleted is no part of the stack any more; what it was told for is taken back', async () => {
    begin();
    put(1, 2, 3, 4, 5);
    copyFileSync(join(folder, nameOf(5)), join(folder, '0006.jpg'));
    await until(() => told('finding').some(({ finding }) => finding.kind === 'duplicate'));
    rmSync(join(folder, '0006.jpg'));
    await until(() => told('cleared').some(({ kind }) => kind === 'duplicate'));
    expect(told('gone')).toEqual([{ event: 'gone', name: '0006.jpg', frames: 5 }]);
    expect((await end()).frames).toBe(5);
  });
});

describe('lamella check --watch', () => {
  const run = (...args: string[]) => {
    const system = fakeSystem();
    return { system, exitCode: runCli(['check', ...args], '1.2.3', system) };
  };

  test('prints events as lines of JSON, and ends on Ctrl-C with the verdict as exit code', async () => {
    put(1, 2, 3, 4, 5, 6, 8, 9, 10);
    const { system, exitCode } = run(folder, '--watch', '--json');
    await until(() => system.stdout.text.split('"event":"frame"').length > 9);
    system.signals.emit('SIGINT');
    expect(await exitCode).toBe(1);
    const lines = system.stdout.text
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line) as WatchEvent);
    expect(lines[0]).toEqual({ event: 'begin', folder, plannedFrames: null });
    expect(lines.at(-1)).toMatchObject({ event: 'end', frames: 9, fit: false });
  });

  test('says in words where each frame lies, and what is wrong', async () => {
    put(1, 2, 3, 4, 5, 6, 8, 9, 10);
    const { system, exitCode } = run(folder, '--watch', '--step', '0.05', '--planned-frames', '12');
    await until(() => system.stdout.text.includes('spoils:'));
    system.signals.emit('SIGTERM');
    expect(await exitCode).toBe(1);
    expect(system.stdout.text).toMatch(/^!? ?Frame 6 \(0006\.jpg\): at 0\.\d+ mm; step .*; sharp at /m);
    expect(system.stdout.text).toMatch(
      /^! Frame 7 \(0008\.jpg\): .*step 0\.\d+ mm where 0\.05 mm is planned/m,
    );
    expect(system.stdout.text).toContain('-> Put 0007 back');
    expect(system.stdout.text).toMatch(/^9 frames\. Not fit to merge/m);
  });

  test.each([
    [['--page', 'x.html'], 2, '--page beside --watch'],
    [['--skip', '3'], 2, '--skip beside --watch'],
    [['--planned-frames', '1'], 2, '--planned-frames'],
  ])('refuses %j', async (args, code, words) => {
    const { system, exitCode } = run(folder, '--watch', ...args);
    expect(await exitCode).toBe(code);
    expect(system.stderr.text).toContain(words);
  });

  test('refuses a folder that is none, or a result; and --planned-frames without it', async () => {
    expect(await run(join(folder, 'nowhere'), '--watch').exitCode).toBe(3);
    mkdirSync(join(folder, 'out'));
    expect(await run(folder, '--planned-frames', '9').exitCode).toBe(2);
  });
});

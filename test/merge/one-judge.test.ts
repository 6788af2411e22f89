import { copyFileSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { check } from '../../src/check/check.js';
import { runCli } from '../../src/cli/run.js';
import { merge } from '../../src/mend/merge.js';
import type { Finding, FindingKind } from '../../src/result/finding.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { verdictAfter } from '../../src/result/verdict.js';
import { fakeSystem } from '../cli/fake-system.js';

let root: string;
let clean: string;

beforeAll(async () => {
  root = mkdtempSync(join(tmpdir(), 'lamella-judge-'));
  await renderScene({ scene: 'tilted-plane', out: root, width: 240, height: 180, frames: 12, stepPart: 0.7 });
  clean = join(root, 'frames');
});
afterAll(() => rmSync(root, { recursive: true, force: true }));

/** A folder with some frames of the clean stack, numbered anew. */
function some(name: string, numbers: readonly number[]): string {
  const folder = join(root, name);
  mkdirSync(folder, { recursive: true });
  const names = readdirSync(clean).sort();
  numbers.forEach((number, i) => {
    copyFileSync(join(clean, names[number - 1]), join(folder, `f${String(i + 1).padStart(3, '0')}.jpg`));
  });
  return folder;
}

/** What a merge alone can know. */
const mergeOnly: readonly FindingKind[] = ['not-aligned', 'few-frames', 'out-of-reach'];

/** Findings that check and merge share. Which end is near is no verdict: a merge looks again at full size, and says it in its notes. */
function shared(findings: readonly Finding[]): Finding[] {
  return findings.filter(
    ({ kind, rank }) => !mergeOnly.includes(kind) && !(kind === 'direction' && rank === 'note'),
  );
}

const range = (from: number, to: number) => Array.from({ length: to - from + 1 }, (_, i) => from + i);

describe('check and merge say the same of a stack', () => {
  test.each([
    ['that is too short', range(1, 7), 'too-short-behind'],
    ['with a step three times as wide', [1, 2, 3, 4, 7, 8, 9, 10, 11, 12], 'missed-step'],
    ['whose steps are all too wide', [1, 4, 7, 10], 'too-coarse-steps'],
  ])('%s, and so do run.json and report.html', async (name, numbers, kind) => {
    const folder = some(name.replaceAll(' ', '-'), numbers);
    const before = await check(folder, { stepMm: 0.3 });
    const out = `${folder}-merged`;
    const outcome = await merge(folder, { out, stepMm: 0.3 });
    expect(before.fit).toBe(false);
    expect(before.findings).toContainEqual(expect.objectContaining({ kind, rank: 'spoils' }));
    expect(shared(outcome.findings)).toEqual(shared(before.findings));
    expect((await readRunRecord(out)).findings).toEqual(outcome.findings);
    const page = readFileSync(join(out, 'report.html'), 'utf8');
    for (const { message, rank } of outcome.findings) {
      if (rank !== 'note') expect(page).toContain(message);
    }
    expect(page).toContain(verdictAfter(outcome.findings));
  });

  test('by any anchor and on any part of the picture', async () => {
    const folder = some('any-anchor', range(1, 7));
    const { findings } = await check(folder);
    const outcome = await merge(folder, { anchor: 'first', crop: 'common', out: join(root, 'first-merged') });
    expect(shared(outcome.findings)).toEqual(shared(findings));
  });

  test.each([
    ['that is complete', range(1, 12)],
    ['whose ends lie just at those of the subject', range(2, 11)],
    ['that is short at both ends', range(3, 10)],
    ['with a gap', [1, 2, 3, 4, 5, 8, 9, 10, 11, 12]],
    ['with two gaps', [1, 2, 4, 5, 6, 7, 9, 10, 11, 12]],
    ['out of order', [1, 2, 7, 4, 3, 6, 5, 8, 10, 9]],
  ])('%s: neither finds more than the other', async (name, numbers) => {
    const folder = some(`equal-${name.replaceAll(' ', '-')}`, numbers);
    const { findings } = await check(folder);
    const outcome = await merge(folder, { out: `${folder}-merged` });
    expect(shared(outcome.findings)).toEqual(shared(findings));
  });
});

test('a flicker that a merge evens out is a flaw: the stack is fit to merge', async () => {
  const folder = some('flicker', range(1, 12));
  const path = join(folder, 'f006.jpg');
  const darker = await sharp(path).linear(0.6, 0).jpeg({ quality: 95 }).keepExif().toBuffer();
  await sharp(darker).keepExif().toFile(path);
  const { fit, findings } = await check(folder);
  expect(findings).toContainEqual(expect.objectContaining({ kind: 'light', rank: 'flaw', frames: [6] }));
  expect(fit).toBe(true);
});

describe('on the terminal', () => {
  async function run(...args: string[]) {
    const system = { ...fakeSystem(), loadMerge: async () => merge };
    const exitCode = await runCli(['merge', ...args], '1.2.3', system);
    return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
  }

  test('a merge says what spoils its picture, and ends with the verdict', async () => {
    const folder = some('said', range(1, 7));
    const { findings } = await check(folder);
    const { exitCode, stderr } = await run(folder);
    expect(exitCode).toBe(0);
    for (const { rank, message } of findings) {
      if (rank === 'spoils') expect(stderr).toContain(`Spoils the picture: ${message}`);
    }
    expect(stderr).toMatch(/Merged, but look: \d+ findings? spoils? the picture\./);
  });

  test('one that leaves out more than a fifth of the frames does not look like a success', async () => {
    const folder = some('half', range(1, 8));
    // Frames of another subject, which cannot be aligned.
    for (const k of [1, 2, 3, 4]) {
      const noise = Buffer.from(range(1, 240 * 180 * 3).map((i) => (i * 7919 * k + ((i * i) >> 3)) % 256));
      await sharp(noise, { raw: { width: 240, height: 180, channels: 3 } })
        .blur(0.5 + k)
        .jpeg({ quality: 95 })
        .toFile(join(folder, `g${k}.jpg`));
    }
    const { exitCode, stderr, stdout } = await run(folder);
    expect(stderr).toMatch(/Only \d+ of 12 photographs went into the picture: more than a fifth is left out/);
    expect(stderr).toMatch(/Merged, but look/);
    expect(stdout).toContain('half-merged');
    expect(exitCode).toBe(6);
  });
});

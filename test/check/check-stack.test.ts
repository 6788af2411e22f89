import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import type { CheckReport } from '../../src/check/check-report.js';
import { runCli } from '../../src/cli/run.js';
import type { Finding, FindingFix } from '../../src/result/finding.js';
import { fakeSystem } from '../cli/fake-system.js';

let root: string;
let clean: string;
let page: string;

beforeAll(async () => {
  root = mkdtempSync(join(tmpdir(), 'lamella-check-'));
  await renderScene({ scene: 'tilted-plane', out: root, width: 320, height: 240, frames: 12, stepPart: 0.7 });
  clean = join(root, 'frames');
  page = join(root, 'page.html');
});
afterAll(() => rmSync(root, { recursive: true, force: true }));

/** A folder with some frames of the clean stack, numbered anew. */
function some(name: string, numbers: readonly number[]): string {
  const folder = join(root, name);
  mkdirSync(folder);
  const names = readdirSync(clean).sort();
  numbers.forEach((number, i) => {
    // Names alone give the order where the times do not: here they agree but for copies.
    copyFileSync(join(clean, names[number - 1]), join(folder, `f${String(i + 1).padStart(3, '0')}.jpg`));
  });
  return folder;
}

async function run(...args: string[]) {
  const system = fakeSystem();
  const exitCode = await runCli(['check', ...args], '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

async function report(folder: string, ...args: string[]): Promise<CheckReport & { exitCode: number }> {
  const { exitCode, stdout, stderr } = await run(folder, '--json', ...args);
  expect(stderr).toBe('');
  return { ...(JSON.parse(stdout) as CheckReport), exitCode };
}

test('two frames are said to show nothing of focus, not to be free of faults', async () => {
  const { stdout } = await run(some('two', [5, 6]));
  expect(stdout).toContain('Two frames do not show whether the steps');
  expect(stdout).not.toContain('Nothing was found amiss');
});

test('a line feed in the name of a folder or file starts no line of the report', async () => {
  const folder = some('bee\nFit to merge.', [5, 6]);
  writeFileSync(
    join(folder, 'f003\nFit to merge.jpg'),
    readFileSync(join(folder, 'f002.jpg')).subarray(0, 2000),
  );
  const { stdout, stderr } = await run(folder, '--frames-table');
  const lines = `${stdout}\n${stderr}`.split('\n');
  expect(lines.filter((line) => line.startsWith('Fit to merge'))).toEqual([]);
  expect(lines[0]).toContain('bee\\x0aFit to merge.: ');
  expect(`${stdout}${stderr}`).toContain('f003\\x0aFit to merge.jpg');
});

describe('a clean stack', () => {
  test('is fit to merge: exit code 0, the verdict first, a table of frames where it is asked for', async () => {
    // With a page, which "the page" below looks at.
    const { exitCode, stdout, stderr } = await run(clean, '--page', page);
    expect(stdout.split('\n')[0]).toContain('12 frames of 320 x 240 pixels');
    expect(stdout.indexOf('Fit to merge.')).toBeLessThan(stdout.indexOf('Verdict, and what to do'));
    expect(stdout).not.toMatch(/Frame +File +Sharpest/);
    expect(exitCode).toBe(0);
    expect(stderr).toContain('Page: ');
    const { stdout: withTable } = await run(clean, '--frames-table', '--page', page, '--overwrite');
    expect(withTable.indexOf('Fit to merge.')).toBeLessThan(withTable.search(/Frame +File +Sharpest/));
  });

  let planned: Awaited<ReturnType<typeof report>>;
  beforeAll(async () => {
    planned = await report(
      clean,
      ...['--step', '0.05', '--magnification', '2.5', '--pixel-pitch', '4', '--travel-per-turn', '0.5'],
    );
  });

  test('learns how its step compares with the one that its frames ask for, and with that of a plan', () => {
    const { findings, exitCode } = planned;
    expect(exitCode).toBe(0);
    // Rendered at 0.7 of the depth of field, which is what a plan of 30 % overlap steps.
    const step = findings.find(({ kind }) => kind === 'step');
    expect(step).toMatchObject({ rank: 'note' });
    expect(step?.message).toMatch(/^The step of 0\.05 mm \(0\.1 turns\) (is|leaves)/);
    expect(findings.find(({ kind }) => kind === 'optics')?.message).toMatch(/\d times that/);
  });

  test('is located frame by frame: the plane is tilted to the right, so the sharp part moves there', () => {
    const positions = planned.frames.slice(1, -1).map(({ centre }) => centre?.x ?? Number.NaN);
    expect(positions.at(-1)! - positions[0]).toBeGreaterThan(0.5);
  });
});

describe('a stack with a fault', () => {
  test('in its step names the frames, and is not fit: exit code 1', async () => {
    const missed = some('missed', [1, 2, 3, 4, 5, 7, 8, 9, 10, 11, 12]);
    const { findings, fit, exitCode, direction } = await report(missed);
    // A plane hides nothing, and its growth may be a lens's.
    expect(direction).toBe('unknown');
    expect(findings).toContainEqual(expect.objectContaining({ kind: 'missed-step', frames: [5, 6] }));
    expect(fit).toBe(false);
    expect(exitCode).toBe(1);
  });

  test('in its step names the files, counts what is missing, and says where it belongs', async () => {
    const numbers = [1, 2, 3, 4, 7, 8, 9, 10, 11, 12];
    const folder = join(root, 'counted');
    mkdirSync(folder);
    const names = readdirSync(clean).sort();
    for (const number of numbers) {
      copyFileSync(join(clean, names[number - 1]), join(folder, `IMG_00${String(number + 40)}.jpg`));
    }
    const knob = ['--travel-per-turn', '0.5', '--marks-per-turn', '50'];
    const { findings } = await report(folder, '--step', '0.05', ...knob);
    const finding = findings.find(({ kind }) => kind === 'missed-step');
    expect(finding).toMatchObject({ frames: [4, 5], files: ['IMG_0044.jpg', 'IMG_0047.jpg'] });
    expect(finding?.message).toContain('IMG_0045 and IMG_0046 are not there');
    // Frame 4 stands at 0.15 mm.
    expect(finding?.advice).toContain(
      'Put IMG_0045 and IMG_0046 back, at 0.2 mm (20 marks) and 0.25 mm (25 marks)',
    );
    const { stdout } = await run(folder, '--step', '0.05');
    expect(stdout).toContain('Files: IMG_0044.jpg, IMG_0047.jpg');
    const { findings: unnumbered } = await report(some('uncounted', numbers), '--step', '0.05');
    expect(unnumbered.find(({ kind }) => kind === 'missed-step')?.advice).toMatch(
      /^Add 2 frames between 4 and 5, at 0\.2 mm and 0\.25 mm from the first/,
    );
  });

  test('at its end is reported with the missing travel, in mm and in turns, from positions as from a step', async () => {
    const sheet = join(root, 'rail.csv');
    // A rail that counts down from 3 mm.
    writeFileSync(sheet, Array.from({ length: 7 }, (_, k) => `${3 - 0.05 * k}\n`).join(''));
    const knob = ['--travel-per-turn', '0.5'];
    const folder = some('short-positions', [1, 2, 3, 4, 5, 6, 7]);
    const [byStep, byPositions] = [
      await report(folder, '--step', '0.05', ...knob),
      await report(folder, '--positions', sheet, ...knob),
    ];
    expect(byPositions.findings).toEqual(byStep.findings);
    const [, count, mm, to] =
      /add at least (\d+) frames? after the last, ([\d.]+) mm \([\d.]+ turns\) of travel, to ([\d.]+) mm/.exec(
        byStep.findings[0].advice,
      ) ?? [];
    expect(Number(mm)).toBeCloseTo(0.05 * Number(count), 6);
    expect(Number(to)).toBeCloseTo(0.05 * (6 + Number(count)), 6);
  });

  test('at its end is too short', async () => {
    const short = join(root, 'short-positions');
    const { findings } = await report(short);
    expect(findings[0]).toMatchObject({ kind: 'too-short-behind', rank: 'spoils', frames: [7] });
    const { findings: turned } = await report(short, '--direction', 'far-to-near');
    expect(turned[0]).toMatchObject({ kind: 'too-short-in-front', rank: 'spoils', frames: [7] });
  });

  test('in every step gets a step that would do, in mm where the step is known', async () => {
    const { findings } = await report(some('coarse', [1, 4, 7, 10]), '--step', '0.3');
    const found = findings.find(({ kind }) => kind === 'too-coarse-steps');
    // Every third frame was kept: a third of the step is known to do.
    expect(found?.neededStepPart).toBeGreaterThan(0.2);
    expect(found?.neededStepPart).toBeLessThan(0.6);
    expect(found?.neededStepMm).toBeCloseTo(0.3 * (found?.neededStepPart ?? 0), 9);
  });

  test('of copies names them', async () => {
    const { findings } = await report(some('copies', [1, 2, 3, 4, 4, 5, 6, 7, 8, 9, 10, 11, 12]));
    const finding = findings.find(({ kind }) => kind === 'duplicate');
    expect(finding?.frames).toEqual([5]);
  });
});

/** Options of the command line that a fix stands for. */
function flagsOf({ skip, order, direction }: FindingFix): string[] {
  return [
    ...(skip ? ['--skip', skip.join(',')] : []),
    ...(order ? ['--order', order] : []),
    ...(direction ? ['--direction', direction] : []),
  ];
}

describe('the fix of a finding, given as options, removes it', () => {
  const fixesOf = (findings: readonly Finding[], kind: Finding['kind']) =>
    findings.find((finding) => finding.kind === kind)?.fixes ?? [];

  test('leaving out what was copied twice', async () => {
    const folder = some('copied', [1, 2, 3, 4, 4, 5, 6, 7]);
    const [fix] = fixesOf((await report(folder)).findings, 'duplicate');
    expect(fix).toEqual({ skip: [5] });
    const { findings, frames } = await report(folder, ...flagsOf(fix));
    expect(frames.map(({ number }) => number)).not.toContain(5);
    expect(findings.some(({ kind }) => kind === 'duplicate')).toBe(false);
  });

  test('the other order, where names and times differ', async () => {
    // By their names frames 4 to 6 stand the other way round.
    const folder = some('scrambled', [1, 2, 3, 6, 5, 4, 7, 8, 9]);
    const byTime = await report(folder);
    expect(fixesOf(byTime.findings, 'order')).toEqual([{ order: 'name' }]);
    expect(byTime.findings.some(({ kind }) => kind === 'reversed-turn')).toBe(false);
    const byName = await report(folder, '--order', 'name');
    expect(byName.frames.map(({ name }) => name)).toEqual([...readdirSync(folder)].sort());
    expect(byName.findings.some(({ kind }) => kind === 'reversed-turn')).toBe(true);
    const again = await report(folder, '--order', 'time');
    expect(again.findings.some(({ kind }) => kind === 'reversed-turn' || kind === 'order')).toBe(false);
  });

  test('either direction, where none is known', async () => {
    const fixes = fixesOf((await report(clean)).findings, 'direction');
    expect(fixes).toEqual([{ direction: 'near-to-far' }, { direction: 'far-to-near' }]);
    const { findings, direction } = await report(clean, ...flagsOf(fixes[1]));
    expect(direction).toBe('far-to-near');
    expect(fixesOf(findings, 'direction')).toEqual([]);
  });
});

describe('the page', () => {
  test('is complete in itself, with every frame and its plots', async () => {
    const text = readFileSync(page, 'utf8');
    expect(text).not.toMatch(/https?:|<script|<link|src="(?!data:)/);
    expect(text.match(/<img src="data:image\/jpeg/g)).toHaveLength(12);
    expect(text.match(/<svg/g)!.length).toBeGreaterThanOrEqual(6);
    // Refused before anything is read.
    expect((await run(clean, '--page', page)).exitCode).toBe(4);
  });

  test('is refused under a name that no page has, before anything is read', async () => {
    const { exitCode, stderr } = await run(join(root, 'nowhere'), '--page', join(root, 'page.txt'));
    expect(exitCode).toBe(2);
    expect(stderr).toContain('ends in .html for --page');
    expect(existsSync(join(root, 'page.txt'))).toBe(false);
  });
});

test('options are refused in the words of a merge, folders that are none as input', async () => {
  const { exitCode, stderr } = await run(clean, '--step', '-1');
  expect(exitCode).toBe(2);
  expect(stderr).toMatch(/Expected .* for --step but received -1/);
  expect((await run(join(root, 'nowhere'))).exitCode).toBe(3);
});

import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Command } from 'commander';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { flagName } from '../../src/cli/flag-names.js';
import { addFlags, flagsOf } from '../../src/cli/option-flags.js';
import { runCli } from '../../src/cli/run.js';
import { planOptionTable } from '../../src/plan/option-table.js';
import { fakeSystem } from './fake-system.js';

const bee = ['--focal-length', '100', '--extension', '68', '--f-number', '5.6', '--sensor', 'aps-c'];
const stack = ['plan', ...bee, '--pixels', '24MP', '--depth', '5'];
const scene = ['plan', '--landscape', '--focal-length', '24', '--f-number', 'f/8', '--near', '0.8'];

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'lamella-plan-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function run(...args: string[]) {
  const system = fakeSystem();
  const exitCode = await runCli(args, '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

function given(...args: string[]): object {
  const command = new Command().exitOverride();
  addFlags(command, planOptionTable).parse(args, { from: 'user' });
  return flagsOf(planOptionTable, command.opts());
}

describe('a plan', () => {
  it('is a table on stdout, its notes on stderr', async () => {
    const { exitCode, stdout, stderr } = await run(...stack);
    expect(exitCode).toBe(0);
    expect(stdout).toMatch(/Magnification +0\.68 x/);
    expect(stdout).toMatch(/Frames +11\n/);
    expect(stderr).toContain('Note: The f-number is taken as marked');
    expect(stderr).not.toContain('Warning');
  });

  it('is one JSON object with --json, and no words', async () => {
    const { exitCode, stdout, stderr } = await run(...stack, '--step', '3', '--json');
    expect(exitCode).toBe(0);
    expect(stderr).toBe('');
    const planned = JSON.parse(stdout);
    expect(planned).toMatchObject({ kind: 'stack', lens: { magnification: 0.68 }, step: { mm: 3 } });
    expect(planned.positions).toHaveLength(planned.frames);
    expect(planned.warnings[0]).toContain('A step of 3 mm leaves unsharp gaps');
    expect(planned.step.recommendedMm).toBeLessThan(planned.step.longestMm);
  });

  it('warns of too long a step with one that leaves no gaps, which then does not warn', async () => {
    const { exitCode, stderr } = await run(...stack, '--step', '3');
    expect(exitCode).toBe(0);
    const [, better] = /Warning: A step of 3 mm leaves unsharp gaps .* Take ([\d.]+) mm/.exec(stderr) ?? [];
    expect((await run(...stack, '--step', better)).stderr).not.toContain('Warning');
  });

  it('of a landscape lists focus distances up to infinity', async () => {
    const { exitCode, stdout } = await run(...scene, '--circle-of-confusion', '0.03');
    expect(exitCode).toBe(0);
    expect(stdout).toMatch(/Hyperfocal distance +2\.42 m/);
    expect(stdout).toMatch(/[3-9]\.\d\d m +1\.\d+ m +infinity/);
  });
});

describe('a sheet', () => {
  it.each(['bee.html', 'bee.csv'])('%s is written, whole, and nothing else', async (name) => {
    const path = join(folder, name);
    const before = readdirSync(folder);
    const { exitCode, stderr } = await run(...stack, '--travel-per-turn', '1', '--sheet', path);
    expect(exitCode).toBe(0);
    expect(stderr).toContain(`Sheet: ${path}`);
    expect(readdirSync(folder).sort()).toEqual([...before, name].sort());
    expect(readFileSync(path, 'utf8')).toContain('Bright LEDs');
  });

  it('is not put over another file unless --overwrite says so', async () => {
    const path = join(folder, 'mine.csv');
    writeFileSync(path, 'mine');
    const refused = await run(...stack, '--sheet', path);
    expect(refused.exitCode).toBe(4);
    expect(refused.stderr).toContain('--overwrite');
    expect(readFileSync(path, 'utf8')).toBe('mine');
    const kept = await run(...stack, '--sheet', path, '--overwrite');
    expect([kept.exitCode, readFileSync(path, 'utf8')]).toEqual([4, 'mine']);
  });

  it.each([
    ['sheet.pdf', 2, 'ends in .html or .csv'],
    ['', 2, 'an empty text'],
    ['/nowhere/at/all/sheet.csv', 4, 'the folder /nowhere/at/all does not exist'],
  ])('%j is refused with exit code %d', async (path, code, message) => {
    const { exitCode, stdout, stderr } = await run(...stack, '--sheet', path);
    expect(exitCode).toBe(code);
    expect(stdout).toBe('');
    expect(stderr).toContain(message);
  });
});

describe('flags of a plan', () => {
  it('are read the way photographers write', () => {
    expect(given('--f-number', 'f/5.6', '--own-magnification', '1:2', '--exposure', '1/50')).toEqual({
      ...{ fNumber: 5.6, ownMagnification: 0.5, exposureS: 0.02 },
    });
    expect(given('--magnification', '2.5x', '--sensor', '36x24', '--pixels', '6000x4000')).toEqual({
      ...{ magnification: 2.5, sensor: { widthMm: 36, heightMm: 24 }, pixels: { width: 6000, height: 4000 } },
    });
    expect(given('--pixels', '24.2MP', '--own-magnification', 'infinity', '--far', '50')).toEqual({
      ...{ pixels: 24.2e6, ownMagnification: 'infinity', farM: 50 },
    });
    expect(given('--circle-of-confusion', 'format', '--landscape')).toEqual({
      circle: 'format',
      landscape: true,
    });
    expect(given('--circle-of-confusion', '0.03')).toEqual({ circle: 0.03 });
    expect(
      given('--depth', '5 mm', '--step', '0.05mm', '--exposure', '1/60 s', '--settle', '500 ms'),
    ).toEqual({
      ...{ depthMm: 5, stepMm: 0.05, exposureS: 1 / 60, settleS: 0.5 },
    });
    expect(given('--depth', '0.5 cm', '--step', '50 µm', '--near', '80 cm', '--overlap', '30 %')).toEqual({
      ...{ depthMm: 5, stepMm: 0.05, nearM: 0.8, overlapPercent: 30 },
    });
    expect(
      given('--circle-of-confusion', '30µm', '--pixel-pitch', '3.9 um', '--wavelength', '550nm'),
    ).toEqual({
      ...{ circle: 0.03, pixelPitchUm: 3.9, wavelengthNm: 550 },
    });
    expect(
      given('--sensor', '36 x 24 mm', '--pixels', '24 MP', '--far', '50 m', '--widest', 'f/2.8'),
    ).toEqual({
      ...{ sensor: { widthMm: 36, heightMm: 24 }, pixels: 24e6, farM: 50, widestFNumber: 2.8 },
    });
  });

  it.each([
    ['--f-number', '0', 'for --f-number but received 0: '],
    ['--f-number', 'wide', 'for --f-number but received wide'],
    ['--extension', '-5', 'for --extension but received -5: tubes can only'],
    ['--own-magnification', '1:0', 'for --own-magnification but received 1:0'],
    ['--sensor', '36x', 'for --sensor but received 36x'],
    ['--pixels', '24', 'for --pixels but received 24'],
    ['--depth', '', 'for --depth but received an empty text'],
    ['--depth', '5 kg', '0.0001 to 10000 mm for --depth but received 5 kg'],
    ['--depth', '5s', '0.0001 to 10000 mm for --depth but received 5s'],
    ['--depth', '5 mm mm', 'for --depth but received 5 mm mm'],
    ['--exposure', '1/60 mm', '3600 s for --exposure but received 1/60 mm'],
    ['--overlap', '30 mm', '90 percent for --overlap but received 30 mm'],
    ['--marks-per-turn', '100 mm', 'for --marks-per-turn but received 100 mm'],
    ['--f-number-is', 'real', 'Expected marked or effective for --f-number-is but received real'],
  ])('%s %s is refused by what was typed', async (flag, value, message) => {
    const { exitCode, stdout, stderr } = await run(...stack, flag, value);
    expect(exitCode).toBe(2);
    expect(stdout).toBe('');
    expect(stderr).toContain(message);
  });

  it('of a subject nearer than the lens can focus say which value and why', async () => {
    const close = [...scene.slice(0, -1), '0.2', '--circle-of-confusion', '0.03'];
    const { exitCode, stderr } = await run(...close, '--closest-focus', '0.4');
    expect(exitCode).toBe(2);
    expect(stderr).toContain('for --near but received 0.2 m: --closest-focus is 0.4 m');
    expect(stderr).toContain('--closest-focus is 0.4 m');
  });

  it('are all in the help, with exit codes and examples that work', async () => {
    const { stdout } = await run('plan', '--help');
    for (const field of Object.keys(planOptionTable)) expect(stdout).toContain(flagName(field));
    for (const code of [0, 1, 2, 4]) expect(stdout).toMatch(new RegExp(`^ {2}${code} {2,}\\S`, 'm'));
    const examples = stdout.split('\n').filter((line) => line.startsWith('  lamella plan'));
    expect(examples).toHaveLength(3);
    for (const example of examples) {
      const words = example.trim().split(/\s+/).slice(1);
      const sheet = words.indexOf('--sheet');
      if (sheet >= 0) words.splice(sheet, 2);
      expect((await run(...words)).exitCode).toBe(0);
    }
  });
});

it('of a landscape names the direction of its order and says nothing of what pictures show', async () => {
  const system = fakeSystem();
  const scene = ['--landscape', '--focal-length', '24', '--f-number', '8', '--sensor', 'full-frame'];
  expect(await runCli(['plan', ...scene, '--pixels', '24MP', '--near', '0.8'], '1.2.3', system)).toBe(0);
  expect(system.stderr.text).toContain('--direction near-to-far');
  expect(system.stderr.text).not.toContain('which end');
});

import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { expect, it } from 'vitest';
import { countText, readConstants, type StatedConstant } from './sensitivity/constants.js';
import type { ProgramFigures } from './sensitivity/measure-program.js';
import { formatSensitivity } from './sensitivity/sensitivity.js';
import { moved, varyProgram } from './sensitivity/vary-program.js';

const constant = (name: string): StatedConstant => ({
  station: 'rail',
  name,
  kind: 'Free',
  type: '',
  unit: 'px',
  decides: 'what it decides',
});

it('what counts something moves by one at least, a measure by its part', () => {
  expect(moved(0.5, '', 1.2)).toBeCloseTo(0.6, 12);
  expect(moved(3, 'f32', 0.8)).toBeCloseTo(2.4, 12);
  expect(moved(2, 'int', 1.2)).toBe(3);
  expect(moved(3, 'i32', 0.8)).toBe(2);
  expect(moved([10, 2], 'int', 0.8)).toEqual([8, 1]);
});

it('a varied program has the new value and what is derived from it, the others as they are', async () => {
  const folder = await mkdtemp(join(tmpdir(), 'lamella-vary-'));
  try {
    const chosen = readConstants().find(({ name }) => name === 'sharpPx');
    await varyProgram(chosen!, 0.05, folder);
    const file = join(folder, 'dist', 'model', 'constants', 'register.js');
    const { sharpPx, minVisiblePx, steepPx } = await import(pathToFileURL(file).href);
    const own = await import('../../src/model/constants/register.js');
    expect([sharpPx, minVisiblePx, steepPx]).toEqual([0.05, 3.5 * 0.05, own.steepPx]);
  } finally {
    await rm(folder, { recursive: true });
  }
});

it('the table names the change of each column, and what moves nothing', () => {
  const figures = (psnrDb: number, hash: string): ProgramFigures => ({
    figures: { psnrDb, ssim: 0.9 },
    mergeHash: hash,
    verdicts: { found: 9, falseAlarms: 0, hash: 'verdicts' },
  });
  const text = formatSensitivity({
    base: figures(30, 'same'),
    rows: [
      { constant: constant('loud'), factor: 1.2, after: figures(30.25, 'other') },
      { constant: constant('loud'), factor: 0.8, after: figures(30.001, 'third') },
      { constant: constant('idle'), factor: 1.2, after: figures(30, 'same') },
      { constant: constant('idle'), factor: 0.8, after: figures(30, 'same') },
      { constant: constant('broken'), factor: 1.2, after: undefined, failure: 'no wasm' },
    ],
  });
  const cells = text.split('\n').map((line) => line.split(/\s+/));
  expect(cells[1].slice(0, 4)).toEqual(['loud', 'up', '+0.25', '.']);
  expect(cells[2].slice(0, 4)).toEqual(['loud', 'down', '0', '.']);
  expect(text).toContain('broken up');
  expect(text.split('\n').at(-1)).toBe('move nothing: idle');
});

it('constants are counted by station and kind', () => {
  const text = countText([constant('one'), { ...constant('two'), kind: 'Effort' }]);
  expect(text.split('\n').at(-1)?.split(/\s+/)).toEqual(['all', '1', '0', '1', '0', '0']);
});

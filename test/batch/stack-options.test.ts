import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { optionsMark, StackOptions } from '../../src/batch/stack-options.js';
import type { MergeOptions } from '../../src/options/merge-options.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import { makeFolder } from '../stack/pictures.js';

/** Options of the stack `day/bee` below a root with the given option files. */
async function optionsOf(
  files: Record<string, string | object>,
  given: Partial<MergeOptions> = {},
  part?: [number, number],
): Promise<MergeOptions> {
  const root = makeFolder();
  const folder = join(root, 'day', 'bee');
  mkdirSync(folder, { recursive: true });
  for (const [path, content] of Object.entries(files)) {
    const text = typeof content === 'string' ? content : JSON.stringify(content);
    writeFileSync(join(root, path, 'lamella.json'), text);
  }
  return new StackOptions(root, given).of({ folder, ...(part && { part }) });
}

describe('options of a stack', () => {
  it('come from the command line, and from files nearer to it first', async () => {
    expect(
      await optionsOf(
        { '.': { rule: 'select', format: 'png' }, day: { format: 'jpg' }, 'day/bee': { stepMm: 0.05 } },
        { rule: 'weigh', crop: 'common' },
      ),
    ).toEqual(resolveOptions({ rule: 'select', crop: 'common', format: 'jpg', stepMm: 0.05 }));
    expect(await optionsOf({}, { rule: 'weigh' })).toEqual(resolveOptions({ rule: 'weigh' }));
  });

  it('may be written as on the command line', async () => {
    const options = await optionsOf({
      '.': { magnification: '2:1', pixelPitchUm: '0,0039 mm' },
      'day/bee': { stepMm: '1/20 mm', skip: '1-3,7' },
    });
    const numbers = { magnification: 2, pixelPitchUm: 3.9, stepMm: 0.05, skip: [1, 2, 3, 7] };
    expect(options).toEqual(resolveOptions(numbers));
    const { positionsMm } = await optionsOf({ day: { positionsMm: ['0', '50 µm', '0,1'] } });
    expect(positionsMm).toEqual([0, 0.05, 0.1]);
    await expect(optionsOf({ day: { stepMm: '1,500' } })).rejects.toThrow(
      /received 1,500: the comma may part thousands or decimals: write 1500 or 1\.500$/,
    );
    await expect(optionsOf({ day: '{ "stepMm": 0,05 }' })).rejects.toThrow(
      /is no JSON: .* point, such as 0\.05/,
    );
    await expect(optionsOf({ day: { stepMm: '5 kg' } })).rejects.toThrow(/stepMm but received 5 kg/);
  });

  it('of one meaning replace each other', async () => {
    const nearer = await optionsOf(
      { 'day/bee': { fieldWidthMm: 12 } },
      { magnification: 2, pixelPitchUm: 4 },
    );
    expect([nearer.fieldWidthMm, nearer.magnification]).toEqual([12, undefined]);
    const mixed = await optionsOf({ '.': { pixelPitchUm: 4 }, 'day/bee': { magnification: 3 } });
    expect([mixed.pixelPitchUm, mixed.magnification]).toEqual([4, 3]);
    expect((await optionsOf({ day: { positionsMm: [0, 1, 2] } }, { stepMm: 1 })).stepMm).toBeUndefined();
  });

  it.each([
    [
      { stepMM: 1, colour: 'red' },
      /day.bee.lamella\.json: expected only the keys .*stepMm.* but received "stepMM" \(did you mean "stepMm"\?\), "colour"\./,
    ],
    [{ 'field-width': 12 }, /"field-width" \(did you mean "fieldWidthMm"\?\)/],
    [{ threads: 2 }, /"threads" \(it holds for the whole batch: give it on the command line\)/],
    [{ stepMm: -1 }, /lamella\.json: Expected a number from .* for stepMm but received -1/],
    ['{ "stepMm": 0.05', /lamella\.json is no JSON/],
    ['[]', /expected an object/],
  ])('%j are refused, naming file and key', async (content, message) => {
    await expect(optionsOf({ 'day/bee': content })).rejects.toThrow(message);
  });

  it('of a part of a folder are its frames, and numbers of frames are refused beside them', async () => {
    expect((await optionsOf({}, {}, [4, 9])).frames).toEqual([4, 9]);
    await expect(optionsOf({}, { skip: [2], anchor: 3 }, [4, 9])).rejects.toThrow('received skip, anchor');
  });

  it('are compared by what makes a difference to the result', () => {
    const mark = (given: Partial<MergeOptions>) => optionsMark(resolveOptions(given));
    expect(mark({ threads: 1, memoryMb: 3000, overwrite: true })).toBe(mark({ threads: 2 }));
    expect(mark({ rule: 'select' })).not.toBe(mark({}));
    expect(mark({ rule: 'auto' })).toBe(mark({}));
  });
});

import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

/** A constant as generate-constants.js reads it; a script of the build, without types. */
interface StatedConstant {
  station: string;
  name: string;
  kind: 'Free' | 'Derived' | 'Effort' | 'Layout';
  type: '' | 'f32' | 'i32' | 'usize' | 'int';
  unit: string;
  decides: string;
}
const generator = (await import(
  new URL('../../src/kernels/generate-constants.js', import.meta.url).href
)) as { readConstants(): StatedConstant[]; constantsText(values: Record<string, number>): string };

const source = fileURLToPath(new URL('../../src/', import.meta.url));

it('each constant has one name over all stations, a unit, and says what it decides', () => {
  const constants = generator.readConstants();
  const names = constants.map(({ name }) => name);
  expect(names.filter((name, i) => names.indexOf(name) !== i)).toEqual([]);
  for (const { name, unit, decides } of constants) {
    expect(unit, name).not.toBe('');
    expect(decides.length, name).toBeGreaterThan(10);
  }
});

it('the constants of the kernels are those of the model', async () => {
  const stations = [...new Set(generator.readConstants().map(({ station }) => station))];
  const values: Record<string, number> = {};
  for (const station of stations)
    Object.assign(values, await import(`../../src/model/constants/${station}.ts`));
  expect(readFileSync(`${source}kernels/assembly/constants.ts`, 'utf8')).toBe(
    generator.constantsText(values),
  );
});

/** Numbers of a station that decide no result: how its data lie in memory and in files. */
const layout = [
  ...[
    'stripRows',
    'scratchRows',
    'mostWaiting',
    'maxTile',
    'momentCount',
    'crossCount',
    'columns',
    'own',
    'all',
    'cellNumbers',
  ],
  ...[
    'binsPerUnit',
    'spreadBins',
    'directionCount',
    'countsOfPixels',
    'clippingBytes',
    'stripPixels',
    'indexSpan',
    'placeBytes',
    'entriesPerLevel',
    'framesAhead',
    'tasksPerFrame',
    'maxShrink',
    'maxShownChars',
    'offsetCount',
    'tableFrames',
    'maxBytes',
    'digits',
  ],
];

it('stations state no tuned number of their own', () => {
  const own: string[] = [];
  for (const station of ['register', 'rail']) {
    for (const file of readdirSync(`${source}${station}`)) {
      const text = readFileSync(`${source}${station}/${file}`, 'utf8');
      for (const [, name] of text.matchAll(/^(?:export )?const (\w+)(?:: \w+)? = \(?\[?-?\d/gm)) {
        if (!layout.includes(name)) own.push(`${station}/${file}: ${name}`);
      }
    }
  }
  expect(own).toEqual([]);
});

import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { runCli } from '../../src/cli/run.js';
import { InputError } from '../../src/errors.js';
import { plan } from '../../src/plan/plan.js';
import { planSheet } from '../../src/plan/sheet.js';
import type { StackPlan } from '../../src/plan/stack-plan.js';
import { type PositionsFacts, parsePositions, readPositionsFile } from '../../src/rail/positions-table.js';
import { fakeSystem } from '../cli/fake-system.js';
import { placeStack, renderPlane } from '../merge/small-stack.js';

const position = fc.double({ min: -10_000, max: 10_000, noNaN: true, noDefaultInfinity: true });
const positions = fc.array(position, { minLength: 1, maxLength: 30 }).map((list) => list.map((p) => p + 0));
const lineEnd = fc.constantFrom('\n', '\r\n', '\r');

function mmOf(text: string, facts: PositionsFacts = {}): number[] {
  const { values, unit } = parsePositions(text, 'rail.csv', facts);
  expect(unit).toBe('mm');
  return values;
}

function refusal(text: string, facts: PositionsFacts = {}): string {
  try {
    parsePositions(text, 'rail.csv', facts);
  } catch (error) {
    expect(error).toBeInstanceOf(InputError);
    return (error as InputError).message;
  }
  return expect.fail('accepted');
}

describe('a table of positions', () => {
  it('of one column reads back what was written, with or without heading, BOM and last line end', () => {
    fc.assert(
      fc.property(positions, lineEnd, fc.boolean(), fc.boolean(), (list, end, heading, bom) => {
        const lines = [...(heading ? ['position mm'] : []), ...list.map(String)];
        const text = `${bom ? '\uFEFF' : ''}${lines.join(end)}${heading ? end : ''}`;
        expect(mmOf(text)).toEqual(list);
      }),
    );
  });

  it('of two columns reads back in frame order, however its lines are ordered and parted', () => {
    const shuffled = positions.chain((list) =>
      fc.tuple(
        fc.constant(list),
        fc.shuffledSubarray([...list.keys()], { minLength: list.length, maxLength: list.length }),
      ),
    );
    fc.assert(
      fc.property(shuffled, fc.constantFrom(',', ';', '\t', ' , '), lineEnd, ([list, order], mark, end) => {
        const text = [
          'frame,positionMm'.replace(',', mark),
          ...order.map((i) => `${i + 1}${mark}${list[i]}`),
        ];
        expect(mmOf(text.join(end))).toEqual(list);
      }),
    );
  });

  it('understands what spreadsheets write: quotes, empty lines, a decimal comma beside a semicolon', () => {
    expect(mmOf('"frame";"mm"\r\n"1";"0,25"\r\n\r\n2;-1,5\r\n3;2\r\n;\r\n')).toEqual([0.25, -1.5, 2]);
  });
});

describe('the sheet of a plan', () => {
  const options = { sensor: 'aps-c', pixels: 24e6, magnification: 2, fNumber: 5.6, depthMm: 1 } as const;
  it.each([
    {},
    { travelPerTurnMm: 1 },
    { travelPerTurnMm: 1, marksPerTurn: 100 },
    // With a warning behind the table.
    { stepMm: 0.5, travelPerTurnMm: 1 },
  ])('with %j gives its positions, as it is, ticked off, or saved by a spreadsheet', (knob) => {
    const planned = plan({ ...options, ...knob }) as StackPlan;
    const expected = planned.positions.map(({ positionMm }) => Number(positionMm.toFixed(4)));
    const sheet = planSheet(planned, 'csv');
    const ticked = sheet.replace(/,\r\n(?=\d|\r)/g, ',x\r\n');
    const columns = sheet.split('\r\n', 1)[0].split(',').length;
    const saved = sheet
      .split('\r\n')
      .map((line) =>
        line.startsWith('"')
          ? line + ';'.repeat(columns - 1)
          : line.replaceAll(',', ';').replaceAll('.', ','),
      )
      .join('\r\n');
    for (const text of [sheet, ticked, saved, `\uFEFF${sheet}`]) {
      expect(mmOf(text)).toEqual(expected);
    }
  });

  it('and other tables are read by the names of their columns, in their unit', () => {
    const read = mmOf;
    expect(read('position_mm,frame\n0.5,2\n0.25,1\n')).toEqual([0.25, 0.5]);
    expect(read('note;Position (µm);Frame\nfirst;0;1\n;50;2\n')).toEqual([0, 0.05]);
    expect(read('time,positionUm\n9:00,100\n9:01,250\n')).toEqual([0.1, 0.25]);
    expect(read('0.05mm\n0.1 mm\n150 µm\n')).toEqual([0.05, 0.1, 0.15]);
    expect(read('frame,position um\n1,0\n2,50\n')).toEqual([0, 0.05]);
  });
});

describe('the log of a motor rail', () => {
  const log = (heading: string, ...lines: string[]) => [heading, ...lines, ''].join('\r\n');

  it.each([
    ['mm', 'time,shot,Position (mm)', '9:00:01,1,0', '9:00:04,2,0.25', '9:00:07,3,0.5'],
    ['µm', 'Shot;Rail position [µm];Temp', '1;0;21', '2;250;21', '3;500;21'],
    ['µm with a decimal comma', 'Shot;Rail position [µm]', '1;0,0', '2;250,0', '3;500,0'],
    ['a line of units', 'image\tposition\ttemp', '\tµm\t°C', '1\t0\t21', '2\t250\t21', '3\t500\t21'],
    ['steps and a column of the pitch', 'frame,steps,pitch_um', '1,0,2.5', '2,100,2.5', '3,200,2.5'],
    ['steps and a pitch by its unit', 'frame,position (steps),mm per step', '1,0,0.0025', '2,100,', '3,200,'],
    ['frames from 0, in any order', 'index,position_mm', '2,0.5', '0,0', '1,0.25'],
    ['names of files', 'file,z_mm', 'IMG_001.jpg,0', 'IMG_002.jpg,0.25', 'IMG_003.jpg,0.5'],
    ['what was reached rather than asked for', 'target mm pos,actual pos mm', '0,0', '0.2,0.25', '0.4,0.5'],
    ['mm rather than steps', 'position_steps,position_mm', '0,0', '700,0.25', '1400,0.5'],
    ['a comment before it', '# carriage 3, homed\r\nposition_mm', '0', '0.25', '0.5'],
  ])('is read as it is: %s', (_, heading, ...lines) => {
    const text = log(heading, ...lines);
    // A comment holds no separator.
    expect(mmOf(text.replace(', homed', ' homed'))).toEqual([0, 0.25, 0.5]);
  });

  it('in steps needs the pitch, and takes it from the option', () => {
    const text = log('frame,motor steps', '1,0', '2,100', '3,200');
    expect(mmOf(text, { pitchUm: 2.5 })).toEqual([0, 0.25, 0.5]);
    expect(refusal(text)).toContain(
      'rail.csv, line 1: positions are in steps, whose length it does not say: give pitchUm',
    );
    expect(parsePositions(text, 'rail.csv', { isRelative: true })).toEqual({
      values: [0, 100, 200],
      unit: 'relative',
    });
  });

  it('in any unit is relative where that is asked for', () => {
    const text = log('frame;Position (degrees)', '1;0', '2;90');
    expect(parsePositions(text, 'rail.csv', { isRelative: true })).toEqual({
      values: [0, 90],
      unit: 'relative',
    });
  });

  it('in focus steps of the camera is relative', () => {
    const text = log('frame;focus step', '1;1200', '2;1180', '3;1150');
    expect(parsePositions(text, 'rail.csv')).toEqual({ values: [1200, 1180, 1150], unit: 'relative' });
  });

  it.each([
    [
      ['time,voltage,lamp', '1,2,3'],
      {},
      'received the headings "time", "voltage", "lamp". Understood are position',
    ],
    [['voltage', '1'], {}, 'received the headings "voltage". Understood are position'],
    [['time,step_mm', '1,0.05'], {}, 'received the headings "time", "step_mm"'],
    [['shot,position inch', '1,0'], {}, 'the heading "position inch" names another unit'],
    [['shot,Position (in)', '1,0'], {}, 'the heading "Position (in)" names another unit'],
    [['frame,position_kg,done', '1,0,'], {}, 'the heading "position_kg" names another unit'],
    [['turns,position_deg', '1,0'], {}, 'the heading "position_deg" names another unit'],
    [['position', 'x'.repeat(5000)], {}, `received "${'x'.repeat(60)}...".`],
    [
      ['steps,pitch_um', '0,2.5', '10,2.6'],
      {},
      'expected one pitch above 0 for all lines but received "2.5", "2.6"',
    ],
    [['steps,pitch_um', '0,0'], {}, 'expected one pitch above 0 for all lines but received "0"'],
    [['steps,pitch_um', '0,2.5'], { pitchUm: 3 }, 'it gives a pitch of 2.5 itself: leave pitchUm out'],
    [['steps', '0', '1x'], { pitchUm: 3 }, 'line 3: expected a number of steps but received "1x"'],
    [['position_mm', '0', '1'], { pitchUm: 3 }, 'holds positions in a length, not in steps of a motor'],
    [['focus step', '0', '1'], { pitchUm: 3 }, 'holds positions in focus steps of the camera'],
  ] as const)(
    'that is not understood is refused with what was found: %j',
    ([heading, ...lines], facts, text) => {
      expect(refusal(log(heading, ...lines), facts)).toContain(text);
    },
  );
});

describe('a wrong table', () => {
  it.each([
    ['0\n0.1\nabc\n', 'rail.csv, line 3: expected a position in mm but received "abc".'],
    ['mm\n0\n\n1e999', 'rail.csv, line 4: expected a position in mm but received "1e999".'],
    ['1,0\n2\n', 'rail.csv, line 2: expected a frame number and a position but received 1 fields.'],
    [
      '0\n1,2\n',
      'rail.csv, line 2: expected one position, or a frame number and a position but received 2 fields.',
    ],
    [
      '1,0,9\n',
      'rail.csv, line 1: expected one position, or a frame number and a position but received 3 fields.',
    ],
    ['1,0\n3,1\n', 'rail.csv, line 2: expected a frame number from 1 to 2 but received "3".'],
    ['0,5\n', 'rail.csv, line 1: expected a frame number from 1 to 1 but received "0".'],
    ['1,0\n1,1\n', 'rail.csv, line 2: frame 1 has a position in line 1 already.'],
    [
      'frame,position inch\n1,0\n',
      'rail.csv, line 1: the heading "position inch" names another unit; give positions in mm.',
    ],
    ['0\n5 s\n', 'rail.csv, line 2: expected a position in mm but received "5 s".'],
    [
      'frame,focus_m,sharp_from_m\n1,0.9,0.8\n',
      'rail.csv, line 1: expected a column of positions but received the headings "frame", "focus_m", "sharp_from_m". Understood are position (mm, µm or steps, as in "position_um" or in a line of units), steps, focus_step, frame, and pitch_um (travel for one step).',
    ],
    ['frame,position_mm,done\n1,,\n', 'rail.csv, line 2: expected a position in mm but received "".'],
    ['\n \n', 'rail.csv holds no positions: put one position in mm on each line.'],
    ['position\n', 'rail.csv holds no positions: put one position in mm on each line.'],
  ])('%j is refused, naming the line', (text, message) => {
    expect(refusal(text)).toBe(message);
  });

  it('gives finite positions or an input error that names the file, for any text', () => {
    const text = fc.oneof(fc.string(), fc.string({ unit: fc.constantFrom(...'0123456789.,;\t\n\r"-e x') }));
    fc.assert(
      fc.property(text, (content) => {
        try {
          const list = parsePositions(content, 'rail.csv').values;
          expect(list.length).toBeGreaterThan(0);
          // Spread, so that a hole would count as undefined.
          expect([...list].every(Number.isFinite)).toBe(true);
        } catch (error) {
          expect(error).toBeInstanceOf(InputError);
          expect((error as InputError).message).toContain('rail.csv');
        }
      }),
      { numRuns: 500 },
    );
  });

  it('is an input error when the file is missing, a folder or huge', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'lamella-positions-'));
    try {
      const huge = join(folder, 'huge.csv');
      await writeFile(huge, Buffer.alloc(10_000_001, '1'));
      for (const path of [join(folder, 'none.csv'), folder, huge]) {
        await expect(readPositionsFile(path)).rejects.toThrow(InputError);
        await expect(readPositionsFile(path)).rejects.toThrow(`Cannot read the positions file ${path}: it `);
      }
    } finally {
      await rm(folder, { recursive: true });
    }
  });
});

it.each(['merge', 'check'])(
  '%s refuses positions that turn back with the name of their file',
  async (command) => {
    const folder = await mkdtemp(join(tmpdir(), 'lamella-turn-'));
    const path = join(folder, 'rail.csv');
    await writeFile(path, '0\n1\n0.5\n');
    const system = fakeSystem();
    expect(await runCli([command, folder, '--positions', path], '1.2.3', system)).toBe(2);
    expect(system.stderr.text).toContain(`${path}: Expected two or more positions`);
    expect(system.stderr.text).toContain('for --positions but received 0.5 after 1 (frame 3)');
    await rm(folder, { recursive: true });
  },
);

it.each(['merge', 'check'])('%s refuses too many positions with the name of their file', async (command) => {
  const { frames } = placeStack((await renderPlane()).files);
  const path = join(frames, '..', 'rail.csv');
  await writeFile(path, '0\n1\n2\n3\n4\n5\n6\n7\n8\n');
  const system = fakeSystem((await import('../../src/mend/merge.js')).merge);
  expect(await runCli([command, frames, '--positions', path], '1.2.3', system)).toBe(2);
  expect(system.stderr.text).toContain(`${path}: Expected a position for each of the 7 photographs`);
  expect(system.stderr.text).toContain('for --positions but received 9: ');
});

describe('relative positions', () => {
  it('shape the depth in steps, of which one is the mean; a file by either option', async () => {
    const { depthScale } = await import('../../src/merge/depth-scale.js');
    const used = [1, 2, 3, 4].map((number) => ({ file: { number } }));
    const relativePositions = [1200, 1180, 1150, 1110];
    const scale = depthScale(used as never, 2, 'near-to-far', { relativePositions });
    expect(scale.unit).toBe('step');
    // 90 focus steps over three: a mean of 30.
    expect([...scale.planes]).toEqual([-20 / 30, 0, 1, 70 / 30].map((depth) => expect.closeTo(depth, 9)));
  });

  it('stand in no option beside a step, and the pitch beside no other', async () => {
    const { frames } = placeStack({ 'a.txt': '' });
    const path = join(frames, '..', 'focus.csv');
    await writeFile(path, 'frame,focus step\n1,0\n2,10\n');
    const run = async (...args: string[]) => {
      const system = fakeSystem();
      const exitCode = await runCli(['merge', frames, ...args], '1.2.3', system);
      return [exitCode, system.stderr.text];
    };
    for (const flag of ['--positions', '--relative-positions']) {
      expect(await run(flag, path, '--step', '0.1')).toEqual([2, expect.stringContaining('received both')]);
    }
    expect(await run('--pitch', '2.5')).toEqual([
      2,
      expect.stringContaining('Expected --positions beside --pitch'),
    ]);
    expect(await run('--positions', path, '--pitch', '2.5')).toEqual([
      3,
      expect.stringContaining('leave --pitch out'),
    ]);
  });
});

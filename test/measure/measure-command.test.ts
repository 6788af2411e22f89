import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, it, test } from 'vitest';
import { textCell } from '../../src/markup/csv-cell.js';
import { measuresCsv } from '../../src/measure/measures-table.js';
import { profileSvg } from '../../src/measure/profile-files.js';
import { roundLength } from '../../src/measure/round-length.js';
import { editMends } from '../../src/mend/apply-mends.js';
import { quantityText } from '../../src/result/report/measure-words.js';
import { runLamella } from '../cli/fake-system.js';
import { makeResult, squareMend } from '../mend/made-result.js';
import { makeSurface } from './made-surface.js';

const scale = { mmPerPixel: 0.004, stepMm: 0.02 };
const lean = (x: number) => (x - 99.5) * 0.002;

const lamella = (...args: string[]) => runLamella('measure', ...args);

const stored = (folder: string) => JSON.parse(readFileSync(join(folder, 'measures.json'), 'utf8'));

describe('measures are kept with the result', () => {
  it('in measures.json and in the report, listed, dropped, and written as CSV and JSON', async () => {
    const folder = await makeSurface({ ...scale, depthAt: lean, report: true });
    const first = await lamella(folder, '--distance', '40,70 160,70', '--note', '<b>eye</b> & "lens"');
    expect([first.exitCode, first.stderr]).toEqual([0, '']);
    expect(first.stdout).toMatch(/distance in space +0\.5\d* ± 0\.0\d+ mm/);
    await lamella(folder, '--area', '10,10,50,40', '--height', '20,20 30,20');
    const { schema, version, measures } = stored(folder);
    expect([schema, version]).toEqual(['lamella-measures', 1]);
    expect(measures.map(({ id, kind }: { id: number; kind: string }) => [id, kind])).toEqual([
      [1, 'distance'],
      [2, 'height'],
      [3, 'area'],
    ]);
    const report = () => readFileSync(join(folder, 'report.html'), 'utf8');
    expect(report()).toContain('&lt;b&gt;eye&lt;/b&gt; &amp; &quot;lens&quot;');
    expect(report().match(/<h2>Measures<\/h2>/g)).toHaveLength(1);

    const table = join(dirname(folder), 'm.csv');
    expect((await lamella(folder, '--drop', '2', '--table', table)).exitCode).toBe(0);
    const lines = readFileSync(table, 'utf8').split('\r\n');
    expect(lines[0]).toBe(
      'lamella_measure,kind,place,quantity,value,uncertainty_k2,unit,why_unknown,note,measured_at',
    );
    // Two measures: four values of a distance, three of an area.
    expect(lines.filter((line) => /^[13],/.test(line))).toHaveLength(7);
    expect(report()).not.toContain('20,20 to 30,20');
    const json = join(dirname(folder), 'm.json');
    await lamella(folder, '--list', '--table', json);
    expect(JSON.parse(readFileSync(json, 'utf8'))).toEqual(stored(folder));
    expect((await lamella(folder, '--list')).stdout).toMatch(/^1 {2}Distance, 40,70 to 160,70: <b>eye/);
    expect(JSON.parse((await lamella(folder, '--list', '--json')).stdout).measures).toHaveLength(2);
  });

  it('are kept where the report is no file that can be drawn into, which is said', async () => {
    const folder = await makeSurface({ ...scale, depthAt: lean });
    mkdirSync(join(folder, 'report.html'));
    const { exitCode, stderr } = await lamella(folder, '--distance', '40,70 160,70');
    expect(stderr).toContain(
      `cannot be drawn into ${join(folder, 'report.html')}: it is a folder, not a file`,
    );
    expect(exitCode).toBe(4);
    expect(stored(folder).measures).toHaveLength(1);
  });

  it('are taken anew when a mend has changed the depth, and marked in the report until then', async () => {
    const { folder } = await makeResult();
    const run = JSON.parse(readFileSync(join(folder, 'run.json'), 'utf8'));
    const { writeMaps } = await import('../../src/result/write-maps.js');
    const count = run.size.width * run.size.height;
    const maps = {
      ...run.size,
      depth: new Float32Array(count),
      sources: new Uint16Array(count).fill(2),
      confidence: new Uint8Array(count).fill(255),
      coverage: new Uint8Array(count),
    };
    run.maps = await writeMaps(folder, maps, { unit: 'step', software: 'test' });
    writeFileSync(join(folder, 'run.json'), JSON.stringify(run));
    writeFileSync(join(folder, 'report.html'), '<main>\n<h2>Frames</h2>\n</main>');
    const value = () => stored(folder).measures[0].quantities[0].value;
    await lamella(folder, '--height', '20,20 100,80');
    expect(value()).toBe(0);
    await editMends(folder, async () => [squareMend]);
    // Frame 3 lies a step behind the anchor.
    expect(value()).toBe(0);
    expect(readFileSync(join(folder, 'report.html'), 'utf8')).toContain(
      'Taken before the picture was changed',
    );
    const again = await lamella(folder, '--height', '80,70 100,80');
    expect(again.stderr).toContain('Measure 1 was taken anew');
    expect(value()).toBe(1);
    expect(again.stdout).toContain('Mended there by hand (mend 1)');
    expect(readFileSync(join(folder, 'report.html'), 'utf8')).not.toContain(
      'Taken before the picture was changed',
    );
  });

  it('refuses what is wrong by name, and changes nothing', async () => {
    const folder = await makeSurface({ ...scale, depthAt: lean });
    const beside = join(dirname(folder), 'letter.csv');
    writeFileSync(beside, 'keep me');
    for (const [args, code, words] of [
      [['--distance', '40,70'], 2, 'Expected 2 points "x,y x,y" for --distance but received 40,70'],
      [['--distance', '40,70 900,70'], 2, 'points inside the picture of 200 x 150 pixels for --distance'],
      [['--area', '1,2,3'], 2, 'for --area but received 1,2,3'],
      [['--roughness', '10,10,50,40', '--cutoff', '0'], 2, 'Expected a length above 0 in mm'],
      [['--note', 'alone'], 2, 'Expected something to measure beside --note'],
      [['--curve', 'x.svg', '--area', '1,1,5,5'], 2, 'Expected one profile'],
      [['--drop', '7'], 3, 'No measure has the id 7: --list shows'],
      [['--list', '--table', beside], 4, 'exists already'],
      [['--list', '--table', beside, '--overwrite'], 4, 'is no table of measures of Lamella'],
      [['--list', '--table', join(folder, 'm.csv')], 4, 'lies in the result folder'],
      [['--scale-bar', join(folder, 'bar.png')], 4, 'lies in the result folder'],
      [
        ['--scale-bar', join(dirname(folder), 'bar.png'), '--bar-length', '5'],
        2,
        'that fit into 200 x 150 pixels',
      ],
    ] as const) {
      const refused = await lamella(folder, ...args);
      expect([args, refused.exitCode]).toEqual([args, code]);
      expect(refused.stderr).toContain(words);
    }
    expect(existsSync(join(folder, 'measures.json'))).toBe(false);
    expect(readdirSync(dirname(folder)).sort()).toEqual(['letter.csv', 'merged']);
  });

  it('refuses a list that is damaged, of another version or for another picture', async () => {
    const folder = await makeSurface({ ...scale, depthAt: lean });
    await lamella(folder, '--height', '20,20 30,20');
    const good = stored(folder);
    for (const [content, words] of [
      ['{', 'is no JSON'],
      [JSON.stringify({ ...good, version: 2 }), 'has version 2 but this program reads versions up to 1'],
      [JSON.stringify({ ...good, size: { width: 9, height: 9 } }), 'made for a picture of 9 x 9 pixels'],
      [
        JSON.stringify({ ...good, measures: [{ ...good.measures[0], kind: 'weight' }] }),
        'for measures[0].kind',
      ],
    ]) {
      writeFileSync(join(folder, 'measures.json'), content);
      const refused = await lamella(folder, '--height', '20,20 40,20');
      expect([refused.exitCode, refused.stderr]).toEqual([3, expect.stringContaining(words)]);
    }
  });
});

test('a value that rounds to nothing has no sign', () => {
  const quantity = { name: 'height difference', uncertainty: 0.02, unit: 'mm' } as const;
  expect(quantityText({ ...quantity, value: -0.0001 })).toBe('0.000 ± 0.020 mm');
  expect(quantityText({ ...quantity, value: -0.01 })).toBe('-0.010 ± 0.020 mm');
});

test('cells that a spreadsheet would compute are guarded, numbers are not', () => {
  for (const text of ['=1+1', '+a', '-b', '@sum', '\tx', ' =1', '\r=1', '\n+1', '\uff1d1+1', '\uff20a'])
    expect(textCell(text).replace(/^"/, '')[0]).toBe("'");
  expect(textCell('a, "b"')).toBe('"a, ""b"""');
  const csv = measuresCsv([
    {
      id: 1,
      kind: 'height',
      points: [
        [1, 2],
        [3, 4],
      ],
      note: '=HYPERLINK("x")',
      quantities: [{ name: 'height difference', value: -0.5, uncertainty: 0.1, unit: 'mm' }],
      remarks: [],
      state: '',
      measuredAt: '2031-01-01T00:00:00Z',
      mmPerPixel: null,
      mmPerDepth: null,
      scaleErrorPercent: 0,
    },
  ]);
  expect(csv).toContain(`,-0.5,0.1,mm,,"'=HYPERLINK(""x"")",`);
});

describe('a profile', () => {
  it('is written as CSV with height and uncertainty, and as a drawing with gaps where nothing is known', async () => {
    const folder = await makeSurface({
      ...scale,
      depthAt: (x) => (x > 90 && x < 110 ? Number.NaN : lean(x)),
    });
    const [csv, svg] = ['p.csv', 'p.svg'].map((name) => join(dirname(folder), name));
    expect((await lamella(folder, '--profile', '40,70 160,70', '--curve', csv)).exitCode).toBe(0);
    const [heading, ...lines] = readFileSync(csv, 'utf8').trimEnd().split('\r\n');
    expect(heading).toBe('lamella_profile_along_mm,height_mm,sigma_mm,x_px,y_px');
    expect(lines).toHaveLength(121);
    for (const line of lines) {
      const [along, height, , x] = line.split(',');
      expect(Number(along)).toBeCloseTo((Number(x) - 40) * 0.004, 6);
      if (Number(x) > 90 && Number(x) < 110) expect(height).toBe('');
      // Toward the camera is up.
      else expect(Number(height)).toBeCloseTo(-lean(Number(x)), 5);
    }
    await lamella(folder, '--profile', '40,70 160,70', '--curve', svg);
    const drawing = readFileSync(svg, 'utf8');
    expect(drawing.match(/<polyline/g)).toHaveLength(2);
    // Drawn by a renderer that is not ours.
    expect(await sharp(Buffer.from(drawing)).metadata()).toMatchObject({
      format: 'svg',
      width: 800,
      height: 320,
    });
    const empty = profileSvg({
      unit: { along: 'px', height: 'step' },
      samples: [{ x: 0, y: 0, along: 0, height: Number.NaN, sigma: Number.NaN }],
    });
    expect(empty).toContain('No depth that may be trusted');
    expect(empty).not.toContain('NaN');
  });
});

describe('a scale bar', () => {
  // Fine stripes everywhere but in a quiet patch along the lower edge.
  const greyAt = (x: number, y: number) => (x > 180 && x < 330 && y > 200 ? 40 : 40 + 60 * (x % 2));
  const options = { mmPerPixel: 0.01, width: 500, height: 300, depthAt: () => 0, greyAt };

  it('has a round length in pixels of the copy, lies where there is least detail, and leaves the result as it is', async () => {
    const folder = await makeSurface(options);
    const path = join(dirname(folder), 'bar.png');
    const before = readFileSync(join(folder, 'composite.png'));
    const { exitCode, stdout, stderr } = await lamella(
      folder,
      '--scale-bar',
      path,
      '--print-width',
      '200',
      '--sensor-width',
      '20',
    );
    expect([exitCode, stderr]).toEqual([0, expect.stringContaining('Scale bar of 1 mm')]);
    // 5 mm of subject on 20 mm of sensor and 200 mm of paper.
    expect(stdout).toMatch(/On the sensor +4 times/);
    expect(stdout).toMatch(/On a print 200 mm wide +40 times/);
    const pixels = await sharp(path).removeAlpha().raw().toBuffer();
    let [left, right, lowest, white] = [500, 0, 0, 0];
    for (let y = 0; y < 300; y++) {
      for (let x = 0; x < 500; x++) {
        if (pixels[(y * 500 + x) * 3] === greyAt(x, y)) continue;
        // White, with soft edges of the letters: the ground is dark.
        expect(pixels[(y * 500 + x) * 3]).toBeGreaterThan(greyAt(x, y));
        if (pixels[(y * 500 + x) * 3] === 255) white++;
        [left, right, lowest] = [Math.min(left, x), Math.max(right, x), Math.max(lowest, y)];
      }
    }
    expect(right - left + 1).toBe(1 / 0.01);
    expect(white).toBeGreaterThanOrEqual(2 * 100);
    expect(left).toBeGreaterThan(180);
    expect(right).toBeLessThan(330);
    expect(lowest).toBeGreaterThan(270);
    expect(readFileSync(join(folder, 'composite.png')).equals(before)).toBe(true);
    expect((await lamella(folder, '--scale-bar', path)).exitCode).toBe(4);
    expect(
      (await lamella(folder, '--scale-bar', path, '--overwrite', '--bar-length', '0.5mm')).stderr,
    ).toContain('500 µm');
  });

  it('is written as JPEG too, and not without a scale', async () => {
    const folder = await makeSurface({ ...options, depthAt: () => 0 });
    const path = join(dirname(folder), 'bar.jpg');
    expect((await lamella(folder, '--scale-bar', path)).exitCode).toBe(0);
    expect((await sharp(path).metadata()).format).toBe('jpeg');
    expect((await lamella(folder, '--scale-bar', path, '--overwrite')).exitCode).toBe(0);
    const { mmPerPixel: _, ...unscaled } = options;
    const none = await lamella(await makeSurface(unscaled), '--scale-bar', join(dirname(folder), 'none.png'));
    expect([none.exitCode, none.stderr]).toEqual([
      3,
      expect.stringContaining('give --field-width, or --magnification'),
    ]);
    expect(
      (
        await lamella(
          await makeSurface(unscaled),
          '--scale-bar',
          join(dirname(folder), 'given.png'),
          '--field-width',
          '5',
        )
      ).exitCode,
    ).toBe(0);
  });

  it.each([
    [1, 1],
    [0.99, 0.5],
    [4.999, 2],
    [5, 5],
    [12, 10],
    [0.00037, 0.0002],
    [200, 200],
  ])('of at most %f is %f long', (max, length) => {
    expect(roundLength(max)).toBe(length);
  });
});

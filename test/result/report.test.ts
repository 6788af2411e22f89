import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { expect, test } from 'vitest';
import { hatchGreys } from '../../src/image/map-colours.js';
import { similarityMatrix } from '../../src/image/transform.js';
import { axisMarks } from '../../src/markup/axis-marks.js';
import { html } from '../../src/markup/markup.js';
import type { Finding } from '../../src/result/finding.js';
import { frameNearness, framesByDepth } from '../../src/result/frame-nearness.js';
import { transformParts } from '../../src/result/report/frame-table.js';
import { railRuler } from '../../src/result/report/rail-ruler.js';
import {
  depthThumbnail,
  pictureThumbnail,
  sourcesThumbnail,
  thumbnailSize,
} from '../../src/result/report/thumbnails.js';
import { verdicts } from '../../src/result/report/verdicts.js';
import { writeReport } from '../../src/result/report/write-report.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { sampleFrame, sampleRecord } from './sample-record.js';
import { temporaryFolder } from './temporary-folder.js';

const [width, height] = [70, 50];
const count = width * height;
const maps = {
  width,
  height,
  depth: new Float32Array(count).map((_, i) => (i % width) / 10),
  sources: new Uint16Array(count).map((_, i) => 1 + (i % 4)),
  confidence: new Uint8Array(count).fill(200),
  coverage: new Uint8Array(count),
};
const composite = { pixels: new Uint16Array(count * 3).fill(40_000), width, height, channels: 3 } as const;

async function report(record: RunRecord): Promise<string> {
  const folder = temporaryFolder();
  await writeReport(folder, record, { composite, maps });
  expect(readdirSync(folder)).toEqual(['report.html']);
  return readFileSync(join(folder, 'report.html'), 'utf8');
}

test('the report is one page that loads and runs nothing', async () => {
  const page = await report(sampleRecord());
  expect(page).toMatch(/^<!doctype html>\n<html lang="en">/);
  expect(page).toContain('Content-Security-Policy');
  expect(page).not.toMatch(/<script|<link|<iframe|@import|url\(|https?:/i);
  const sources = [...page.matchAll(/src="([^"]{0,30})/g)].map((match) => match[1]);
  expect(sources).toHaveLength(5);
  for (const source of sources) expect(source).toMatch(/^data:image\/(png|jpeg);base64,/);
  const withoutAlt = [...page.matchAll(/<img [^>]*>/g)].filter(([tag]) => !/ alt="[^"]{8,}"/.test(tag));
  expect(withoutAlt).toEqual([]);
});

test('the pictures of the report can be decoded and have the shape of the composite', async () => {
  const page = await report(sampleRecord());
  for (const [, data] of page.matchAll(/src="data:image\/\w+;base64,([^"]+)"/g)) {
    expect(await sharp(Buffer.from(data, 'base64')).metadata()).toMatchObject({ width, height });
  }
});

test('names and sentences from outside never become tags', async () => {
  const name = `"><script>alert('x')</script>.jpg`;
  const page = await report(
    sampleRecord({
      folder: `/photographs/${name}`,
      frames: [
        sampleFrame(1, { name, path: name }),
        sampleFrame(2, { name: '<img src=x onerror=alert(1)>.jpg' }),
        sampleFrame(3, { name, used: false, leftOutReason: '<b>blurred</b>', transform: null }),
      ],
      warnings: [`${name} was left out`],
      notes: [`${name} has alpha`],
    }),
  );
  expect(page).not.toMatch(/<script|<b>|<img src=x/i);
  expect(page).toContain('&quot;&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;.jpg');
});

test('templates escape what they are given and keep what they made', () => {
  expect(html`<p title="${'"&\''}">${html`<i>${'<'}</i>`}${[html`<b>`, html`${1}`]}</p>`.text).toBe(
    '<p title="&quot;&amp;&#39;"><i>&lt;</i><b>1</p>',
  );
});

test('verdicts tell frames, coverage and depth in plain words', () => {
  const record = sampleRecord({
    frames: [
      sampleFrame(1),
      sampleFrame(2, { sharePercent: 0 }),
      sampleFrame(3, { used: false, leftOutReason: 'blurred by motion' }),
    ],
  });
  const percents = [87.3, 0, 0.02, 9.98, 0, 2.7];
  record.maps.coverage.classes.forEach((entry, i) => {
    entry.percent = percents[i];
  });
  expect(verdicts(record)).toEqual([
    '2 of 3 frames went into the picture; it keeps the framing of frame 2 (seed_2.jpg).',
    'Frame 3 (seed_3.jpg) was left out: blurred by motion.',
    '87.3 % of the picture is sharp in at least one frame.',
    'The subject spans 3 steps of depth.',
    '1 used frame supplied no pixel of its own: 2.',
  ]);
});

test('verdicts are those that the run was given by, whatever the maps show of the same', () => {
  const findings: Finding[] = [
    { kind: 'too-short-behind', rank: 'spoils', frames: [3], message: '7.5 % lie behind.', advice: 'Go on.' },
    { kind: 'light', rank: 'flaw', frames: [2], message: 'The light flickers.', advice: '' },
    { kind: 'direction', rank: 'note', frames: [], message: 'From near to far.', advice: '' },
  ];
  const record = sampleRecord({ findings });
  const percents = [89.7, 0, 10.3, 0, 0, 0];
  record.maps.coverage.classes.forEach((entry, i) => {
    entry.percent = percents[i];
  });
  const told = verdicts(record);
  expect(told[0]).toBe('Merged, but look: 1 finding spoils the picture. 1 flaw to know of.');
  expect(told).toEqual(expect.arrayContaining(['7.5 % lie behind. Go on.', 'The light flickers.']));
  expect(told.join(' ')).not.toMatch(/10\.3 %|From near/);
});

test('the shares of the coverage map stand in its legend, as figures of the map', async () => {
  const record = sampleRecord({ findings: [] });
  const percents = [89.7, 0, 10.3, 0, 0, 0];
  record.maps.coverage.classes.forEach((entry, i) => {
    entry.percent = percents[i];
  });
  const page = await report(record);
  expect(page).toContain('beyond the plane of focus of the last frame (10.3 % of the pixels)');
  expect(page).toContain('The shares count pixels of this map.');
  expect(page).toContain('<p class="verdict fit">Merged.</p>');
});

test('a left-out frame is told once, by its warning where there is one', () => {
  const frames = [
    sampleFrame(1),
    sampleFrame(2),
    sampleFrame(3, { used: false, leftOutReason: 'blurred by motion' }),
  ];
  const warnings = ['seed_3.jpg was left out: blurred by motion.'];
  expect(verdicts(sampleRecord({ frames, warnings })).join()).not.toContain('seed_3.jpg');
});

test('the nearest frame has the lightest colour, whichever way the stack was shot', () => {
  const record = (sign: number) =>
    sampleRecord({ frames: [1, 2, 3, 4].map((number) => sampleFrame(number, { depth: sign * number })) });
  const brightness = (sign: number) => {
    const { pixels } = sourcesThumbnail(maps, frameNearness(record(sign)), 1000);
    return [0, 1, 2, 3].map((i) => pixels[i * 3] + pixels[i * 3 + 1] + pixels[i * 3 + 2]);
  };
  const nearFirst = brightness(1);
  expect(nearFirst).toEqual([...nearFirst].sort((left, right) => right - left));
  expect(brightness(-1)).toEqual([...nearFirst].reverse());
});

test('frames without a depth are ordered as they were shot, a left-out one has no colour', () => {
  const frames = [1, 2, 3, 4].map((number) => sampleFrame(number, { depth: null, used: number !== 3 }));
  expect(framesByDepth({ frames, direction: 'near-to-far' })).toEqual([1, 2, 4]);
  expect(framesByDepth({ frames, direction: 'far-to-near' })).toEqual([4, 2, 1]);
  expect([...frameNearness({ frames, direction: 'unknown' })]).toEqual([
    [1, 1],
    [2, 0.5],
    [4, 0],
  ]);
});

test('ticks of the rail ruler lie where the planes of focus are and are as long as the shares', () => {
  const shares = [10, 40, 20, 30];
  const frames = shares.map((sharePercent, i) =>
    sampleFrame(i + 1, { sharePercent, depth: [-3, 0, 1, 5][i] }),
  );
  const ruler = railRuler(sampleRecord({ frames })).text;
  const ticks = [...ruler.matchAll(/class="tick" x1="([\d.]+)" x2="([\d.]+)" y1="([\d.]+)"/g)].map(
    (match) => ({
      length: Number(match[2]) - Number(match[1]),
      y: Number(match[3]),
    }),
  );
  expect(ticks).toHaveLength(4);
  const perPercent = ticks[1].length / 40;
  ticks.forEach(({ length }, i) => {
    expect(length).toBeCloseTo(shares[i] * perPercent, 0);
  });
  const perDepth = (ticks[3].y - ticks[0].y) / 8;
  expect(perDepth).toBeGreaterThan(0);
  expect(ticks[1].y - ticks[0].y).toBeCloseTo(3 * perDepth, 0);
  expect(ticks[2].y - ticks[1].y).toBeCloseTo(perDepth, 0);
});

test('left-out frames are marked in words on the ruler and in the table', async () => {
  const frames = [
    sampleFrame(1),
    sampleFrame(2),
    sampleFrame(3, { used: false, leftOutReason: 'blurred by motion' }),
  ];
  const page = await report(sampleRecord({ frames }));
  expect(page.match(/× left out/g)).toHaveLength(1);
  expect(page).toMatch(/<tr class="left-out">.*left out: blurred by motion/);
});

test('a stack without places on the axis has a report without a ruler', async () => {
  const frames = [sampleFrame(1, { depth: null }), sampleFrame(2, { depth: null })];
  const page = await report(sampleRecord({ frames }));
  expect(page).not.toContain('<svg');
  expect(page).toContain('<table>');
});

test('labels of a long stack do not overlap and keep the anchor', () => {
  const frames = Array.from({ length: 400 }, (_, i) =>
    sampleFrame(i + 1, { depth: i - 200, sharePercent: 0.25 }),
  );
  const ruler = railRuler(sampleRecord({ frames, anchorNumber: 201 })).text;
  const labels = [...ruler.matchAll(/<text x="146" y="([\d.]+)" text-anchor="end">(\d+)</g)];
  const places = labels.map((match) => Number(match[1])).sort((left, right) => left - right);
  for (let i = 1; i < places.length; i++) expect(places[i] - places[i - 1]).toBeGreaterThan(12.8);
  expect(labels.map((match) => match[2])).toContain('201');
  expect(places.length).toBeGreaterThan(40);
});

test.each([
  [-3, 4.9, [-3, -2, -1, 0, 1, 2, 3, 4]],
  [0, 0.31, [0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3]],
  [2, 2, [2]],
])('marks from %f to %f are round', (near, far, expected) => {
  const marks = axisMarks(near, far);
  expect(marks).toHaveLength(expected.length);
  marks.forEach((mark, i) => {
    expect(mark).toBeCloseTo(expected[i], 9);
  });
});

test('the table takes a transform apart into what it was made of', () => {
  const made = { scale: 1.0123, rollRad: 0.002, shiftXPx: 3.25, shiftYPx: -1.5 };
  const parts = transformParts(similarityMatrix(made, 1600, 1200), 1600, 1200);
  expect(parts.scale).toBeCloseTo(1.0123, 9);
  expect(parts.rollDeg).toBeCloseTo((0.002 * 180) / Math.PI, 9);
  expect(parts.shiftXPx).toBeCloseTo(3.25, 6);
  expect(parts.shiftYPx).toBeCloseTo(-1.5, 6);
});

test('the small composite keeps the mean of every part, in 8 and 16 bits', () => {
  const pixels = new Uint16Array(8 * 4);
  for (let i = 0; i < pixels.length; i++) pixels[i] = (i % 8 < 4 ? 100 : 200) * 257 + (i % 2 ? 257 : -257);
  const small = pictureThumbnail({ pixels, width: 8, height: 4, channels: 1 }, 2);
  expect(small).toMatchObject({ width: 2, height: 1 });
  expect([...small.pixels]).toEqual([100, 200]);
});

test('small maps show what is missing as a hatch and not as a value', () => {
  const depth = new Float32Array(count).fill(Number.NaN);
  depth.fill(1, 0, count / 2);
  depth[0] = 2;
  const small = depthThumbnail({ ...maps, depth }, 1000);
  const isGrey = (i: number) =>
    small.pixels[i * 3] === small.pixels[i * 3 + 1] && small.pixels[i * 3] === small.pixels[i * 3 + 2];
  for (let i = 0; i < count; i++) expect(isGrey(i)).toBe(i >= count / 2);
  // Near is light.
  const sum = (i: number) => small.pixels[i * 3] + small.pixels[i * 3 + 1] + small.pixels[i * 3 + 2];
  expect(sum(1)).toBeGreaterThan(sum(0));
  const sources = sourcesThumbnail({ ...maps, sources: new Uint16Array(count) }, new Map([[1, 1]]), 1000);
  expect(new Set(sources.pixels)).toEqual(new Set(hatchGreys));
});

test('pictures are never enlarged and never vanish', () => {
  expect(thumbnailSize({ width: 30, height: 20 }, 800)).toEqual({ width: 30, height: 20 });
  expect(thumbnailSize({ width: 40_000, height: 10 }, 800)).toEqual({ width: 800, height: 1 });
});

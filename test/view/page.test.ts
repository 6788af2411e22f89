/// <reference lib="dom" />
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { editMends } from '../../src/mend/apply-mends.js';
import { readMends } from '../../src/mend/mends-file.js';
import { merge } from '../../src/mend/merge.js';
import { undoMends } from '../../src/mend/undo-mends.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { type Served, serveResult } from '../../src/view/serve.js';
import { placeStack, renderPlane } from '../merge/small-stack.js';
import { findBrowser, launchBrowser, noteErrors } from './browser.js';

const browserPath = findBrowser();

// Skipped, each by its name, where no browser can be had.
describe.skipIf(browserPath === undefined)('the page in Chromium', () => {
  let out: string;
  let browser: Browser;
  let served: Served;
  let page: Page;
  const problems: string[] = [];

  beforeAll(async () => {
    const { files } = await renderPlane();
    const stack = placeStack(files);
    out = stack.out;
    await merge(stack.frames, { out, crop: 'anchor', stepMm: 0.1, fieldWidthMm: 2.4, threads: 2 });
    browser = await launchBrowser(browserPath!);
    served = await serveResult(out);
  });

  afterAll(async () => {
    await browser?.close();
    await served?.close();
  });

  beforeEach(async () => {
    await page?.close();
    page = await browser.newPage({ viewport: { width: 1200, height: 800 } });
    problems.length = 0;
    noteErrors(page, problems);
    page.on('request', (request) => {
      if (!request.url().startsWith(served.address) && !request.url().startsWith('data:')) {
        problems.push(`asked elsewhere: ${request.url()}`);
      }
    });
    await page.goto(served.address);
    await page.waitForSelector('body[data-ready]');
    // Background work is done when nothing is told of it any more.
    await page.waitForSelector('#progress:empty', { state: 'attached' });
    await expect.poll(() => served.viewer.progress(), { timeout: 30_000 }).toMatchObject({ measured: 7 });
  });

  /** The screen place of a composite pixel, from the page's own fit: the picture fills the canvas, centred. */
  async function placeOf(x: number, y: number): Promise<[number, number]> {
    const box = (await page.locator('#canvas').boundingBox())!;
    const scale = Math.min(box.width / 240, box.height / 180, 8);
    return [
      box.x + (box.width - 239 * scale) / 2 + x * scale,
      box.y + (box.height - 179 * scale) / 2 + y * scale,
    ];
  }

  /** Mean colour of a square of the canvas about a composite pixel, as the screen shows it. */
  async function colourAt(x: number, y: number): Promise<number[]> {
    const [left, top] = await placeOf(x, y);
    const { default: sharp } = await import('sharp');
    const shot = await page.screenshot({ clip: { x: left - 6, y: top - 6, width: 12, height: 12 } });
    const { channels } = await sharp(shot).stats();
    return channels.slice(0, 3).map(({ mean }) => mean);
  }

  async function outline(points: readonly [number, number][]): Promise<void> {
    for (const [i, [x, y]] of points.entries()) {
      await page.mouse.move(...(await placeOf(x, y)), { steps: i === 0 ? 1 : 4 });
      if (i === 0) await page.mouse.down();
    }
    await page.mouse.up();
  }

  test('opens, with a tick for each frame as long as its share in run.json', async () => {
    const record = await readRunRecord(out);
    const ticks = page.locator('#ruler [role=option]');
    expect(await ticks.count()).toBe(record.frames.length);
    const lengths = new Map<number, number>();
    for (const frame of record.frames) {
      const tick = page.locator(`#tick-${frame.number}`);
      expect(Number(await tick.getAttribute('data-share'))).toBe(frame.sharePercent);
      const percent = frame.sharePercent;
      const told = percent > 0 && percent < 0.05 ? 'under 0.1' : percent.toFixed(1).replace(/\.0$/, '');
      expect(await tick.getAttribute('aria-label')).toContain(`supplies ${told} % of the picture`);
      const line = tick.locator('line');
      lengths.set(
        frame.number,
        Number(await line.getAttribute('x2')) - Number(await line.getAttribute('x1')),
      );
    }
    const longest = record.frames.reduce((a, b) => (b.sharePercent > a.sharePercent ? b : a));
    for (const frame of record.frames) {
      const ratio = lengths.get(frame.number)! / lengths.get(longest.number)!;
      // Ticks of next to nothing keep a length that can be seen.
      expect(ratio).toBeCloseTo(Math.max(3 / 78, frame.sharePercent / longest.sharePercent), 2);
    }
    expect(problems).toEqual([]);
  });

  test('pointing at the picture lights the ticks of the spot, draws its curve and tells what is known', async () => {
    await page.mouse.move(...(await placeOf(120, 90)));
    await page.waitForSelector('#ruler .tick.spot');
    const text = (await page.textContent('#readout'))!;
    expect(text).toMatch(
      /^x 120, y 90 {2}· {2}depth −?[\d.]+ mm {2}· {2}frame \d.*confidence [\d.]+ {2}· {2}covered/,
    );
    const [, frame] = /frame (\d+)/.exec(text)!;
    expect(await page.locator('#ruler .tick.spot').first().getAttribute('data-frame')).toBeDefined();
    expect(await page.locator(`#tick-${frame}.spot`).count()).toBe(1);
    expect((await page.locator('#ruler .curve').getAttribute('d'))!.length).toBeGreaterThan(30);
    await page.mouse.move(1190, 790);
    await expect.poll(() => page.locator('#ruler .tick.spot').count()).toBe(0);
    expect(problems).toEqual([]);
  });

  test('pressing a tick lights what its frame supplied and dims the rest; dragging takes a range', async () => {
    const record = await readRunRecord(out);
    const [from, to] = [2, 4];
    const middle = async (number: number): Promise<[number, number]> => {
      const box = (await page.locator(`#tick-${number} rect`).boundingBox())!;
      return [box.x + 20, box.y + box.height / 2];
    };
    await page.mouse.move(...(await middle(from)));
    await page.mouse.down();
    await page.mouse.move(...(await middle(to)), { steps: 5 });
    await page.mouse.up();
    expect(await page.locator('#ruler [aria-selected=true]').count()).toBe(3);
    const share = record.frames.slice(1, 4).reduce((sum, { sharePercent }) => sum + sharePercent, 0);
    expect(await page.textContent('#rail-note')).toContain(`${Number(share.toFixed(1))} % of the picture`);
    // The plane leans: of two spots far apart one comes from these frames, the other not.
    await page.waitForTimeout(500);
    const held = await page.locator('#ruler [aria-selected=true]').evaluateAll((list) => list.length);
    expect(held).toBe(3);
    const lit: number[] = [];
    const dim: number[] = [];
    const { readResult } = await import('../../src/result/read-result.js');
    const sources = await (await readResult(out)).readSources();
    for (const [x, y] of [
      [30, 30],
      [30, 150],
      [120, 90],
      [210, 30],
      [210, 150],
      [120, 20],
      [120, 160],
    ] as const) {
      const around = [-2, 0, 2].flatMap((dy) => [-2, 0, 2].map((dx) => sources[(y + dy) * 240 + x + dx]));
      const brightness = Math.max(...(await colourAt(x, y)));
      if (around.every((number) => number >= from && number <= to)) lit.push(brightness);
      if (around.every((number) => number < from || number > to)) dim.push(brightness);
    }
    expect(lit.length * dim.length).toBeGreaterThan(0);
    expect(Math.min(...lit)).toBeGreaterThan(Math.max(...dim));
    await page.keyboard.press('Escape');
    expect(await page.locator('#ruler [aria-selected=true]').count()).toBe(0);
    expect(problems).toEqual([]);
  });

  test('every layer is shown, with its legend in mm', async () => {
    for (const [name, legend] of [
      ['Depth', /near −?[\d.]+ mm\s*far −?[\d.]+ mm/],
      ['Sources', /frame \d+, −?[\d.]+ mm\s*frame \d+, −?[\d.]+ mm/],
      ['Confidence', /confidence 0\s*1/],
      ['Coverage', /covered: sharp in at least one frame/],
    ] as const) {
      const tile = page.waitForResponse((response) =>
        response.url().includes(`/tile/${name.toLowerCase()}/`),
      );
      await page.getByRole('radio', { name }).click();
      expect((await tile).status()).toBe(200);
      expect(await page.textContent('#legend')).toMatch(legend);
    }
    const tile = page.waitForResponse((response) => response.url().includes('/tile/frame-6/'));
    await page.getByRole('radio', { name: 'Frame' }).click();
    await page.fill('#frame-number', '6');
    await page.press('#frame-number', 'Enter');
    expect((await tile).status()).toBe(200);
    expect(await page.locator('#legend').isVisible()).toBe(false);
    expect(problems).toEqual([]);
  });

  test('a section and a distance are drawn and told in mm', async () => {
    await page.getByRole('radio', { name: 'Section' }).click();
    await outline([
      [30, 30],
      [210, 150],
    ]);
    await page.waitForSelector('.plot .line');
    // 240 px are 2.4 mm at the anchor's plane; the line is 216.3 px long.
    const [, length] = /Section ([\d.]+) mm long/.exec((await page.textContent('#section-summary'))!)!;
    expect(Number(length)).toBeGreaterThan(2.1);
    expect(Number(length)).toBeLessThan(2.23);
    await page.getByRole('radio', { name: 'Distance' }).click();
    await outline([
      [60, 60],
      [160, 60],
    ]);
    await page.waitForSelector('#distance-main');
    const [, space] = /Distance in space ([\d.]+) ± [\d.]+ mm/.exec(
      (await page.textContent('#distance-main'))!,
    )!;
    expect(Number(space)).toBeGreaterThan(0.98);
    expect(await page.textContent('#panel')).toMatch(/distance in the picture100\.00 ± [\d.]+ px/);
    expect(problems).toEqual([]);
  });

  test('a region is mended, saved, still there after a reload, and undone', async () => {
    const composite = () => readFileSync(join(out, 'composite.tif'));
    const before = composite();
    await page.getByRole('radio', { name: 'Mend' }).click();
    await outline([
      [90, 60],
      [150, 60],
      [150, 120],
      [90, 120],
      [92, 70],
    ]);
    await page.waitForSelector('button.crop');
    expect(await page.locator('button.crop').count()).toBeGreaterThan(3);
    await page.locator('[data-key=any-frame]').selectOption('1');
    await page.waitForFunction(() =>
      /Blended in \d+ ms/.test(document.querySelector('#mend-state')!.textContent!),
    );
    expect(await page.locator('.mends li').count()).toBe(1);

    await page.keyboard.press('Control+z');
    await expect.poll(() => page.locator('.mends li').count()).toBe(0);
    await page.keyboard.press('Control+y');
    await expect.poll(() => page.locator('.mends li').count()).toBe(1);
    await page.getByLabel('Note on mend 1').fill('a try');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.waitForFunction(() => document.querySelector('#mend-state')!.textContent === 'Saved.');
    expect(composite().equals(before)).toBe(false);
    const mended = await readRunRecord(out);
    expect(JSON.parse(readFileSync(join(out, 'mends.json'), 'utf8')).mends).toMatchObject([
      { id: 1, frame: 1, note: 'a try', kept: true },
    ]);
    // The ruler follows: frame 1 supplies more than before.
    expect(Number(await page.locator('#tick-1').getAttribute('data-share'))).toBe(
      mended.frames[0].sharePercent,
    );

    await page.reload();
    await page.waitForSelector('body[data-ready]');
    await page.getByRole('radio', { name: 'Mend' }).click();
    await expect.poll(() => page.locator('.mends li').count()).toBe(1);
    expect(await page.getByLabel('Note on mend 1').inputValue()).toBe('a try');
    await page.getByLabel('Keep mend 1').uncheck();
    await expect.poll(() => page.locator('.mends li.dropped').count()).toBe(1);
    await page.getByRole('button', { name: 'Undo' }).click();
    await page.getByRole('button', { name: 'Undo' }).click();
    await expect.poll(() => page.locator('.mends li').count()).toBe(0);
    await page.getByRole('button', { name: 'Save' }).click();
    await page.waitForFunction(() => document.querySelector('#mend-state')!.textContent === 'Saved.');
    expect(composite().equals(before)).toBe(true);
    expect(problems).toEqual([]);
  });

  test('what is mended elsewhere meanwhile is kept, and what waits is put back by saving', async () => {
    const unmended = readFileSync(join(out, 'composite.tif'));
    const state = (text: string) =>
      page.waitForFunction((wanted) => document.querySelector('#mend-state')!.textContent === wanted, text);
    const region = { kind: 'rectangle', x: 20, y: 20, width: 30, height: 30 } as const;
    const elsewhere = { id: 1, frame: 2, region, featherPx: 10, note: 'elsewhere', kept: true };
    await page.getByRole('radio', { name: 'Mend' }).click();
    await outline([
      [150, 60],
      [190, 60],
      [190, 100],
      [150, 100],
      [152, 70],
    ]);
    await page.waitForSelector('button.crop');
    await page.locator('[data-key=any-frame]').selectOption('5');
    await expect.poll(() => page.getByRole('button', { name: 'Save' }).isEnabled()).toBe(true);
    await editMends(out, async (recorded) => [...recorded, elsewhere]);
    await page.getByRole('button', { name: 'Save' }).click();
    await state('Saved. The list holds mends that were saved elsewhere meanwhile, too.');
    expect(await page.locator('.mends li').count()).toBe(2);
    expect(await page.getByLabel('Note on mend 1').inputValue()).toBe('elsewhere');
    const saved = await readMends(out, { width: 240, height: 180 });
    expect(saved.map(({ id, frame }) => [id, frame])).toEqual([
      [1, 2],
      [2, 5],
    ]);
    const mended = readFileSync(join(out, 'composite.tif'));

    await undoMends(out);
    expect(readFileSync(join(out, 'composite.tif')).equals(unmended)).toBe(true);
    await page.reload();
    await page.waitForSelector('body[data-ready]');
    await page.getByRole('radio', { name: 'Mend' }).click();
    await expect.poll(() => page.getByRole('button', { name: 'Save' }).isEnabled()).toBe(true);
    await page.getByRole('button', { name: 'Save' }).click();
    await state('Saved.');
    expect(readFileSync(join(out, 'composite.tif')).equals(mended)).toBe(true);
    await editMends(out, async () => []);
    expect(problems).toEqual([]);
  });

  test('before and after stand side by side at a line that keys move', async () => {
    await page.getByLabel('split').check();
    const line = page.getByRole('slider', { name: 'Dividing line' });
    await line.focus();
    await page.keyboard.press('ArrowRight');
    expect(await line.getAttribute('aria-valuenow')).toBe('52');
    await page.locator('#left').selectOption('frame-1');
    // Sharpness on the two sides of the line: the blurred frame against the composite, over the same texture.
    await page.waitForTimeout(700);
    await page.getByLabel('split').uncheck();
    expect(await line.isVisible()).toBe(false);
    expect(problems).toEqual([]);
  });

  test('all of it works by keys alone', async () => {
    await page.locator('#canvas').focus();
    await page.keyboard.press('ArrowRight');
    await expect.poll(() => page.textContent('#readout')).toMatch(/^x \d+, y \d+/);
    const zoom = await page.textContent('#zoom-text');
    await page.keyboard.press('+');
    expect(await page.textContent('#zoom-text')).not.toBe(zoom);
    await page.keyboard.press('0');
    expect(await page.textContent('#zoom-text')).toBe(zoom);

    // Tools are one radio group: its chosen button takes the focus, arrows go on.
    await page.getByRole('radio', { name: 'Look' }).focus();
    for (const name of ['Section', 'Distance', 'Mend']) {
      await page.keyboard.press('ArrowRight');
      expect(await page.getByRole('radio', { name }).getAttribute('aria-checked')).toBe('true');
    }
    await page.locator('#canvas').focus();
    for (const key of ['Enter', 'ArrowRight', 'Enter', 'ArrowDown', 'Enter', 'c'])
      await page.keyboard.press(key);
    await page.waitForSelector('button.crop');
    await page.locator('button.crop[data-frame]').first().focus();
    await page.keyboard.press('Enter');
    await expect.poll(() => page.locator('.mends li').count()).toBe(1);
    await expect
      .poll(() => page.locator('button.crop[data-frame]').first().getAttribute('aria-pressed'))
      .toBe('true');

    await page.locator('#ruler svg').focus();
    await page.keyboard.press('End');
    await page.keyboard.press('Shift+ArrowUp');
    expect(await page.locator('#ruler [aria-selected=true]').count()).toBe(2);
    await page.keyboard.press('Enter');
    expect(await page.getByRole('radio', { name: 'Frame' }).getAttribute('aria-checked')).toBe('true');
    expect(problems).toEqual([]);
  });

  test('one finger moves the picture, two zoom it', async () => {
    const touch = await page.context().newCDPSession(page);
    const [x, y] = await placeOf(120, 90);
    const send = (type: 'touchStart' | 'touchMove' | 'touchEnd', ...places: [number, number][]) =>
      touch.send('Input.dispatchTouchEvent', {
        type,
        touchPoints: places.map(([dx, dy], id) => ({ x: x + dx, y: y + dy, id })),
      });
    const zoom = async () => Number.parseFloat((await page.textContent('#zoom-text'))!);
    const before = await zoom();
    await send('touchStart', [-40, 0], [40, 0]);
    for (const apart of [60, 80, 100, 120]) await send('touchMove', [-apart, 0], [apart, 0]);
    await send('touchEnd');
    await expect.poll(zoom).toBeGreaterThan(before * 2);
    const zoomed = await zoom();
    await send('touchStart', [0, 0]);
    for (const far of [20, 40, 60]) await send('touchMove', [far, far]);
    await send('touchEnd');
    expect(await zoom()).toBe(zoomed);
    // What was in the middle has moved with the finger.
    await page.mouse.move(x + 60, y + 60);
    await expect.poll(() => page.textContent('#readout')).toMatch(/^x 1(19|20|21), y (89|90|91) /);
    expect(problems).toEqual([]);
  });

  test('every control has a name, and text stands out from its ground', async () => {
    await page.getByRole('radio', { name: 'Mend' }).click();
    const nameless = await page
      .locator('button, input, select, [role=slider], [role=listbox], canvas')
      .evaluateAll((all) =>
        all
          .filter((element) => {
            const labels = (element as HTMLInputElement).labels;
            const text = element.getAttribute('aria-label') ?? element.textContent ?? '';
            return text.trim() === '' && !(labels && labels.length > 0);
          })
          .map((element) => element.outerHTML),
      );
    expect(nameless).toEqual([]);
    const pairs = await page
      .locator('button:not(:disabled), h1, h2, p, label, #rail-note')
      .evaluateAll((all) =>
        all.map((element) => {
          const numbers = (text: string) => (text.match(/[\d.]+/g) ?? []).map(Number);
          let ground = element as Element | null;
          while (ground && /, 0\)$|transparent/.test(getComputedStyle(ground).backgroundColor))
            ground = ground.parentElement;
          return {
            what: element.textContent,
            ink: numbers(getComputedStyle(element).color),
            ground: ground ? numbers(getComputedStyle(ground).backgroundColor) : [22, 23, 25],
          };
        }),
      );
    // WCAG 2.2, relative luminance and contrast ratio; 4.5 : 1 is its level AA for text.
    const luminance = (rgb: number[]) => {
      const [r, g, b] = rgb.map((byte) => {
        const c = byte / 255;
        return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
      });
      return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    for (const { what, ink, ground } of pairs) {
      const [light, dark] = [luminance(ink), luminance(ground)].sort((a, b) => b - a);
      expect([what, (light + 0.05) / (dark + 0.05) >= 4.5]).toEqual([what, true]);
    }
    expect(problems).toEqual([]);
  });
});

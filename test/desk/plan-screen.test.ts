/// <reference lib="dom" />
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import axe from 'axe-core';
import type { Browser, BrowserContextOptions, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { type ServedDesk, serveDesk } from '../../src/desk/serve.js';
import { plan } from '../../src/plan/plan.js';
import type { StackPlan } from '../../src/plan/stack-plan.js';
import { removeAfter } from '../temporary-folders.js';
import { findBrowser, launchBrowser, noteErrors } from '../view/browser.js';

const modeNames = {
  ...{ magnification: 'Magnification', tubes: 'Lens on tubes', ruler: 'Ruler' },
  ...{ objective: 'Objective', scene: 'Landscape' },
} as const;

describe.skipIf(findBrowser() === undefined)('the plan screen in Chromium', () => {
  let browser: Browser;
  let served: ServedDesk;
  let page: Page | undefined;
  const problems: string[] = [];

  beforeAll(async () => {
    browser = await launchBrowser(findBrowser()!);
    const folder = mkdtempSync(join(tmpdir(), 'lamella-plan-screen-'));
    removeAfter('file', folder);
    served = await serveDesk({ folder });
  });
  afterAll(async () => {
    await browser?.close();
    await served?.close();
  });
  afterEach(() => {
    expect(problems.splice(0)).toEqual([]);
  });

  /** The one page of all tests goes to an address of the desk. */
  async function open(hash: string): Promise<Page> {
    page ??= await newPage({ viewport: { width: 1440, height: 900 } });
    return go(page, hash);
  }

  async function newPage(options: BrowserContextOptions): Promise<Page> {
    const opened = await browser.newPage(options);
    noteErrors(opened, problems);
    opened.on('request', (request) => {
      if (!/^(blob|data):/.test(request.url()) && !request.url().startsWith(served.address))
        problems.push(`request to ${request.url()}`);
    });
    return opened;
  }

  async function go(shown: Page, hash: string): Promise<Page> {
    // The same address twice would change nothing.
    await shown.goto(`${served.address}#/guide`);
    await shown.goto(`${served.address}${hash}`);
    await shown.waitForSelector('.figures');
    return shown;
  }

  const figure = async (shown: Page, name: string): Promise<string> =>
    (await shown.locator('.figures div', { hasText: name }).locator('strong').textContent()) ?? '';
  const frames = async (shown: Page): Promise<number> => Number(await figure(shown, 'Frames'));
  const ticks = (shown: Page): Promise<number> =>
    shown.evaluate(
      () => (document.querySelector('.slabs .ticks')?.getAttribute('d') ?? '').split('M').length - 1,
    );

  test('shows the step, marks and frames that the plan gives for the same values', async () => {
    const shown = await open('#/plan?magnification=1&fNumber=8&depthMm=5&travelPerTurnMm=1&marksPerTurn=100');
    const expected = plan({
      ...{ sensor: 'full-frame', pixels: 24e6, magnification: 1, fNumber: 8, depthMm: 5 },
      ...{ travelPerTurnMm: 1, marksPerTurn: 100 },
    }) as StackPlan;
    expect(await frames(shown)).toBe(expected.frames);
    expect(await ticks(shown)).toBe(expected.frames);
    expect(Number.parseFloat(await figure(shown, 'Step'))).toBeCloseTo(expected.step.mm, 2);
    const knob = await shown.locator('.figures div', { hasText: 'Step' }).locator('span').textContent();
    expect(Number.parseFloat(knob ?? '')).toBeCloseTo(expected.knobPerFrame!.marks!, 0);
  });

  test('is loaded when it is opened: the desk begins without its formulas', async () => {
    const loaded = (shown: Page): Promise<boolean> =>
      shown.evaluate(() =>
        performance.getEntriesByType('resource').some(({ name }) => name.endsWith('/plan/stack-plan.js')),
      );
    const first = await newPage({});
    await first.goto(`${served.address}#/guide`);
    await first.waitForSelector('body[data-ready]');
    expect(await loaded(first)).toBe(false);
    expect(await loaded(await go(first, '#/plan'))).toBe(true);
    await first.close();
  });

  test('moves the slabs while a value is dragged: by slider, by key and over the curve', async () => {
    const shown = await open('#/plan?magnification=1&fNumber=8&depthMm=5');
    const before = await frames(shown);
    const depth = shown.getByRole('slider', { name: 'Depth' });
    const box = (await depth.boundingBox())!;
    await shown.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await shown.mouse.down();
    await shown.mouse.move(box.x + box.width * 0.8, box.y + box.height / 2, { steps: 6 });
    const during = await frames(shown);
    expect(during).toBeGreaterThan(before);
    expect(await ticks(shown)).toBe(during);
    await shown.mouse.up();

    const aperture = shown.getByRole('slider', { name: 'Aperture' });
    await aperture.focus();
    await shown.keyboard.press('ArrowLeft');
    expect(await shown.inputValue('#plan-fNumber')).toBe('7.1');
    expect(await frames(shown)).toBeGreaterThan(during);

    const hit = shown.locator('.apertures .hit[data-f-number="11"]');
    await hit.click();
    expect(await shown.inputValue('#plan-fNumber')).toBe('11');
    const from = (await hit.boundingBox())!;
    await shown.mouse.move(from.x + from.width / 2, from.y + 40);
    await shown.mouse.down();
    await shown.mouse.move(from.x + 4 * from.width, from.y + 40, { steps: 8 });
    await shown.mouse.up();
    expect(Number(await shown.inputValue('#plan-fNumber'))).toBeGreaterThan(13);
  });

  test('takes what it recommends by a press, and says to a screen reader what came of it', async () => {
    const shown = await open(
      '#/plan?magnification=1&fNumber=16&depthMm=5&travelPerTurnMm=1&marksPerTurn=100',
    );
    await shown.getByRole('button', { name: /^Use f\// }).click();
    const best = plan({
      ...{ sensor: 'full-frame', pixels: 24e6, magnification: 1, fNumber: 16, depthMm: 5 },
    }) as StackPlan;
    const chosen = best.bestAperture!.choices.find(({ name }) => name === 'best')!;
    expect(Number(await shown.inputValue('#plan-fNumber'))).toBe(chosen.markedFNumber);
    await shown.getByRole('button', { name: /^Use \d+ marks/ }).click();
    const marks = await shown.locator('.figures div', { hasText: 'Step' }).locator('span').textContent();
    expect(marks).toMatch(/^\d+ marks/);
    await expect
      .poll(() => shown.locator('p[role=status]').textContent())
      .toMatch(/^5 mm of subject in \d+ frames/);
  });

  test('names the value that is wrong at its field, and keeps the last plan on view', async () => {
    const shown = await open('#/plan?magnification=1&fNumber=8&depthMm=5');
    const before = await frames(shown);
    await shown.fill('#plan-depthMm', '5 kg');
    expect(await shown.textContent('#plan-fault')).toMatch(
      /^Expected a number .* mm for “Depth” but received 5 kg/,
    );
    expect(await shown.getAttribute('#plan-depthMm', 'aria-invalid')).toBe('true');
    expect(await shown.getAttribute('#plan-depthMm', 'aria-describedby')).toContain('plan-fault');
    expect(await frames(shown)).toBe(before);
    expect(await shown.getByRole('button', { name: 'Print the sheet' }).isDisabled()).toBe(true);
    await shown.fill('#plan-depthMm', '0.5 cm');
    expect(await shown.locator('#plan-fault').count()).toBe(0);
    expect(await frames(shown)).toBe(before);
  });

  test('is found again by its address, and by the way back to the screen', async () => {
    const shown = await open('#/plan');
    await shown.getByRole('radio', { name: 'Objective' }).check();
    await shown.fill('#plan-magnification', '10');
    await shown.fill('#plan-depthMm', '0.4');
    await expect.poll(() => shown.evaluate(() => location.hash)).toContain('depthMm=0.4');
    const [address, count] = [await shown.evaluate(() => location.hash), await frames(shown)];
    await shown.click('nav a[href="#/places"]');
    await shown.click('nav a[href="#/plan"]');
    await shown.waitForSelector('.figures');
    expect(await frames(shown)).toBe(count);
    expect(await frames(await open(address))).toBe(count);
  });

  test('prints the sheet and nothing else, with a row for each frame', async () => {
    const shown = await open('#/plan?magnification=1&fNumber=8&depthMm=5');
    await shown.emulateMedia({ media: 'print' });
    await shown.evaluate(() => window.dispatchEvent(new Event('beforeprint')));
    const rows = await shown.locator('.sheet tbody tr').count();
    expect(rows).toBe(await frames(shown));
    expect(await shown.locator('.sheet').isVisible()).toBe(true);
    expect(await shown.locator('#screen').isVisible()).toBe(false);
    await shown.emulateMedia({ media: 'screen' });
    expect(await shown.locator('.sheet').isVisible()).toBe(false);
  });

  test('saves a table that holds a line for each frame', async () => {
    const shown = await open('#/plan?magnification=1&fNumber=8&depthMm=5');
    const [download] = await Promise.all([
      shown.waitForEvent('download'),
      shown.getByRole('button', { name: 'Save as table' }).click(),
    ]);
    const pieces: Buffer[] = [];
    for await (const piece of await download.createReadStream()) pieces.push(piece as Buffer);
    const lines = Buffer.concat(pieces).toString('utf8').split('\r\n');
    expect(lines[0]).toBe('frame,position_mm,done');
    expect(lines.indexOf('') - 1).toBe(await frames(shown));
  });

  test('draws a landscape too, and moves what the frames show sharp while the nearest thing is dragged', async () => {
    const shown = await open('#/plan?mode=scene');
    await shown.getByRole('radio', { name: modeNames.scene }).check();
    const zones = (): Promise<number> => shown.locator('.slabs .slab').count();
    const before = await frames(shown);
    expect(await zones()).toBe(before);
    const near = shown.getByRole('slider', { name: 'Nearest' });
    const box = (await near.boundingBox())!;
    await shown.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await shown.mouse.down();
    await shown.mouse.move(box.x + box.width * 0.3, box.y + box.height / 2, { steps: 6 });
    const during = await frames(shown);
    expect(during).toBeGreaterThan(before);
    expect(await zones()).toBe(during);
    await shown.mouse.up();
    expect(await shown.locator('.slabs').getAttribute('aria-label')).toMatch(/to infinity in \d+ frames/);
  });

  test('answers touch: a tap on the curve chooses the aperture', async () => {
    const touched = await newPage({ hasTouch: true, viewport: { width: 400, height: 800 } });
    const shown = await go(touched, '#/plan?magnification=1');
    await shown.locator('.apertures .hit[data-f-number="16"]').tap();
    expect(await shown.inputValue('#plan-fNumber')).toBe('16');
    await touched.close();
  });

  test('is without violation for axe-core and no wider than its window: dark and light, 400 to 3840 px, every mode', async () => {
    const shown = await open('#/plan');
    await shown.evaluate(axe.source);
    for (const [colorScheme, width, mode] of [
      ['dark', 1440, 'magnification'],
      ['light', 1440, 'tubes'],
      ['dark', 400, 'ruler'],
      ['light', 400, 'objective'],
      ['light', 3840, 'scene'],
    ] as const) {
      await shown.emulateMedia({ colorScheme });
      await shown.setViewportSize({ width, height: 900 });
      await shown.getByRole('radio', { name: modeNames[mode] }).check();
      const found = await shown.evaluate(async () => {
        for (const details of document.querySelectorAll('details')) details.open = true;
        const { violations } = await (window as unknown as { axe: typeof axe }).axe.run();
        return violations.map(
          ({ id, nodes }) =>
            `${id}: ${nodes
              .map(({ html }) => html)
              .join(' ')
              .slice(0, 300)}`,
        );
      });
      expect(found, `${colorScheme} ${width} ${mode}`).toEqual([]);
      const overflow = await shown.evaluate(
        () => document.querySelector('#screen')!.scrollWidth - document.querySelector('#screen')!.clientWidth,
      );
      expect(overflow, `${width} ${mode}`).toBeLessThanOrEqual(0);
    }
  });
});

/// <reference lib="dom" />
import { cpSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import axe from 'axe-core';
import type { Page } from 'playwright-core';
import { describe, expect, test } from 'vitest';
import { applyMends } from '../../src/mend/apply-mends.js';
import type { StrokeRegion } from '../../src/mend/mend-region.js';
import { readMends } from '../../src/mend/mends-file.js';
import { undoMends } from '../../src/mend/undo-mends.js';
import type { DoubtfulPlaces } from '../../src/view/protocol.js';
import { runLamella } from '../cli/fake-system.js';
import { makeFolder } from '../stack/pictures.js';
import { findBrowser } from './browser.js';
import { drag, placeOf, size, usePageFixture } from './page-fixture.js';

const places: DoubtfulPlaces = {
  places: [
    { region: { x: 30, y: 40, width: 40, height: 32 }, confidence: 0.31, contrast: 22 },
    { region: { x: 150, y: 90, width: 36, height: 36 }, confidence: 0.62, contrast: 14 },
  ],
};

describe.skipIf(findBrowser() === undefined)('brush and doubtful places in Chromium', () => {
  const fixture = usePageFixture();
  let page: Page;

  const tool = (name: string): Promise<void> => page.getByRole('radio', { name, exact: true }).click();
  const files = ['composite.tif', 'depth.tif', 'depth.png', 'sources.png', 'confidence.png', 'coverage.png'];
  const bytesOf = (folder: string) =>
    files.map((name) => readFileSync(join(folder, name)).toString('base64'));
  const takeBrush = async (widthPx: number): Promise<void> => {
    await tool('Mend');
    await tool('Brush');
    await page.fill('[data-key=brush-width]', String(widthPx));
    await page.press('[data-key=brush-width]', 'Tab');
  };
  const hasFault = async (): Promise<string[]> => {
    await page.addScriptTag({ content: axe.source });
    return page.evaluate(async () => {
      const { violations } = await (window as unknown as { axe: typeof axe }).axe.run();
      return violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html).join(' ')}`);
    });
  };
  // Scripts may be added to the page for axe only where its policy is set aside.
  const open = (options: Parameters<typeof fixture.open>[0] = {}) =>
    fixture.open({ bypassCSP: true, ...options }, async (opening) => {
      await opening.route('**/api/doubtful', (route) => route.fulfill({ json: places }));
    });

  test('a stroke saved on the page gives the bytes of the same mend from the command line, and is undone', async () => {
    const merged = bytesOf(fixture.out);
    const copy = join(makeFolder(), 'merged');
    cpSync(fixture.out, copy, { recursive: true });
    page = await open();
    await takeBrush(14);
    await drag(page, [
      [60, 50],
      [110, 90],
      [150, 80],
    ]);
    await page.locator('button.crop[data-frame]').first().click();
    await page.waitForSelector('[data-key=save]:enabled');
    await page.keyboard.press('Control+s');
    await page.getByText('Saved.', { exact: true }).waitFor();

    const [mend] = await readMends(fixture.out, size);
    const { kind, points, widthPx } = mend.region as StrokeRegion;
    expect([kind, widthPx]).toEqual(['stroke', 14]);
    for (const [i, [x, y]] of [
      [60, 50],
      [150, 80],
    ].entries()) {
      const end = points.at(-i)!;
      expect(Math.hypot(end[0] - x, end[1] - y)).toBeLessThan(1);
    }
    // Half its width, less what the round ends take.
    expect(mend.featherPx).toBeGreaterThanOrEqual(6);
    expect(mend.featherPx).toBeLessThanOrEqual(7);
    const along = points.map((point) => point.join(',')).join(' ');
    const add = ['--add', `frame=${mend.frame}`, '--along', along, '--width', '14'];
    expect((await runLamella('mend', copy, ...add)).exitCode).toBe(0);
    expect(bytesOf(copy)).toEqual(bytesOf(fixture.out));
    expect(bytesOf(copy)).not.toEqual(merged);
    await undoMends(fixture.out);
    expect(bytesOf(fixture.out)).toEqual(merged);
    // The tests that follow begin with an empty list.
    await applyMends(fixture.out, []);
  });

  test('by keys alone a doubtful place is mended along a hair by another rule', async () => {
    page = await open();
    await page.focus('#canvas');
    await page.keyboard.press('n');
    await page
      .getByText('Doubtful place 1 of 2: confidence 0.31; another choice changes up to 22 of 255 levels.')
      .waitFor();
    await page.waitForSelector('button.crop[data-rule=weigh]');
    await page.keyboard.press('p');
    await page.getByText('Doubtful place 2 of 2').waitFor();

    await page.keyboard.press('b');
    const width = Number(await page.inputValue('[data-key=brush-width]'));
    await page.keyboard.press('.');
    expect(Number(await page.inputValue('[data-key=brush-width]'))).toBeGreaterThan(width);
    await page.keyboard.press(',');
    // Two points at the cross, the picture moved in between, and the end.
    await page.keyboard.press('Enter');
    await page.keyboard.press('ArrowRight');
    await page.keyboard.press('Enter');
    expect(await page.textContent('#panel')).toContain('2 points set.');
    await page.keyboard.press('c');
    await page.waitForSelector('button.crop[data-rule=select]');
    await page.waitForFunction(() => {
      const images = [...document.querySelectorAll<HTMLImageElement>('button.crop[data-rule] img')];
      return images.length === 2 && images.every(({ naturalWidth }) => naturalWidth > 0);
    });
    await page.focus('button.crop[data-rule=select]');
    await page.keyboard.press('Enter');
    await page.locator('.mends').getByText('rule select').waitFor();
    await page.waitForSelector('[data-key=undo]:enabled');
    expect(await page.getAttribute('button.crop[data-rule=select]', 'aria-pressed')).toBe('true');
    await page.keyboard.press('Control+z');
    await page.getByText('No mends yet.').waitFor();
  });

  test('a finger draws a stroke', async () => {
    page = await open({ hasTouch: true });
    await takeBrush(10);
    const touch = await page.context().newCDPSession(page);
    const points = await Promise.all(
      [
        [70, 60],
        [90, 75],
        [120, 85],
      ].map(([x, y]) => placeOf(page, x, y)),
    );
    for (const [i, [x, y]] of points.entries()) {
      const type = i === 0 ? 'touchStart' : 'touchMove';
      await touch.send('Input.dispatchTouchEvent', { type, touchPoints: [{ x, y }] });
    }
    const asked = page.waitForRequest((request) => request.url().endsWith('/api/candidates'));
    await touch.send('Input.dispatchTouchEvent', { type: 'touchEnd', touchPoints: [] });
    const { mends } = (await asked).postDataJSON() as { mends: { region: StrokeRegion }[] };
    expect(mends[0].region).toMatchObject({ kind: 'stroke', widthPx: 10 });
    expect(mends[0].region.points.length).toBeGreaterThanOrEqual(2);
    await page.waitForSelector('button.crop[data-frame]');
  });

  test.each([
    ['dark', 1440],
    ['light', 400],
  ] as const)('the panel has no fault that axe finds, %s, %i px wide', async (colorScheme, width) => {
    page = await open({ colorScheme, viewport: { width, height: 800 } });
    await page.focus('#canvas');
    await page.keyboard.press('n');
    await page.waitForSelector('button.crop[data-rule=select]');
    await page.keyboard.press('b');
    expect(await hasFault()).toEqual([]);
  });
});

/// <reference lib="dom" />
import { cpSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import axe from 'axe-core';
import type { Page } from 'playwright-core';
import { describe, expect, test } from 'vitest';
import { readMeasures } from '../../src/result/measures-file.js';
import { runLamella } from '../cli/fake-system.js';
import { makeFolder } from '../stack/pictures.js';
import { findBrowser } from './browser.js';
import { drag, placeOf, size, usePageFixture } from './page-fixture.js';

describe.skipIf(findBrowser() === undefined)('measures on the page in Chromium', () => {
  const fixture = usePageFixture();
  let page: Page;

  const tool = (name: string): Promise<void> => page.getByRole('radio', { name, exact: true }).click();
  const keep = async (note: string): Promise<void> => {
    await page.fill('[data-key=measure-note]', note);
    await page.click('[data-key=keep-measure]');
    await page.locator('[data-measure]').getByText(note).waitFor();
  };
  /** But for when it was measured, and for how options are called, which a command line calls by their flags. */
  const asKept = async (folder: string) =>
    (await readMeasures(folder, size)).map(({ measuredAt: _, remarks, ...measure }) => ({
      ...measure,
      remarks: remarks.map((remark) => remark.replace('--direction', 'direction')),
    }));

  test('what is kept on the page is what lamella measure keeps, word for word and value for value', async () => {
    const copy = join(makeFolder(), 'merged');
    cpSync(fixture.out, copy, { recursive: true });
    page = await fixture.open();
    await tool('Distance');
    for (const [x, y] of [
      [60, 60],
      [160, 90],
    ] as const) {
      await page.mouse.click(...(await placeOf(page, x, y)));
    }
    await page.waitForSelector('#distance-main');
    const shown = await page.locator('.quantities dd').allTextContents();
    await keep('left antenna');
    await tool('Section');
    await drag(page, [
      [30, 30],
      [210, 150],
    ]);
    await page.waitForSelector('.plot .line');
    await keep('across');

    const [distance, profile] = await readMeasures(fixture.out, size);
    const pointsOf = (points: [number, number][] | undefined) => points!.map(String).join(' ');
    const line = pointsOf(profile.points);
    expect(pointsOf(distance.points)).toBe('60,60 160,90');
    const { stdout } = await runLamella(
      'measure',
      copy,
      '--distance',
      '60,60 160,90',
      '--note',
      'left antenna',
    );
    await runLamella('measure', copy, '--profile', line, '--note', 'across');
    expect(shown).toHaveLength(4);
    for (const text of shown) expect(stdout).toContain(text);
    expect(await asKept(fixture.out)).toEqual(await asKept(copy));
    expect(readFileSync(join(fixture.out, 'report.html'), 'utf8')).toContain('left antenna');

    for (const id of [distance.id, profile.id]) {
      await page.click(`[data-key=drop-measure-${id}]`);
      await page.waitForSelector(`[data-measure="${id}"]`, { state: 'detached' });
    }
    expect(await readMeasures(fixture.out, size)).toEqual([]);
  });

  test('a measure that another program has kept is listed, found and drawn', async () => {
    await runLamella('measure', fixture.out, '--angle', '60,60 160,90 100,150', '--note', 'elsewhere');
    page = await fixture.open();
    await tool('Distance');
    await page.locator('[data-measure]').getByText('Angle · elsewhere').waitFor();
    const [{ id }] = await readMeasures(fixture.out, size);
    await page.click(`[data-key=find-measure-${id}]`);
    await page.click(`[data-key=drop-measure-${id}]`);
    await page.waitForSelector(`[data-measure="${id}"]`, { state: 'detached' });
  });

  test('kept measures have no fault that axe finds, in light and 400 px wide', async () => {
    const viewport = { width: 400, height: 800 };
    page = await fixture.open({ bypassCSP: true, colorScheme: 'light', viewport });
    await tool('Distance');
    await page.focus('#canvas');
    await page.keyboard.press('Enter');
    await page.keyboard.press('ArrowRight');
    await page.keyboard.press('Enter');
    await page.waitForSelector('#distance-main');
    await keep('by keys');
    await page.addScriptTag({ content: axe.source });
    const faults = await page.evaluate(async () => {
      const { violations } = await (window as unknown as { axe: typeof axe }).axe.run();
      return violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html).join(' ')}`);
    });
    expect(faults).toEqual([]);
  });
});

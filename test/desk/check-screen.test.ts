/// <reference lib="dom" />
import { copyFileSync, mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import axe from 'axe-core';
import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { type ServedDesk, serveDesk } from '../../src/desk/serve.js';
import { makeFolder } from '../stack/pictures.js';
import { findBrowser, launchBrowser, noteErrors } from '../view/browser.js';

/** Frames of a clean stack under names in this order: by name frame 6 is a copy of frame 3, by time frame 5 of frame 4. */
const taken = [1, 2, 4, 3, 5, 4, 6, 7, 8, 9];

describe.skipIf(findBrowser() === undefined)('the check screen in Chromium', () => {
  let browser: Browser;
  let served: ServedDesk;
  let folder: string;
  let page: Page | undefined;
  const problems: string[] = [];

  beforeAll(async () => {
    browser = await launchBrowser(findBrowser()!);
    const root = makeFolder();
    await renderScene({
      scene: 'tilted-plane',
      out: root,
      width: 320,
      height: 240,
      frames: 12,
      stepPart: 0.7,
    });
    folder = join(root, 'faulty');
    mkdirSync(folder);
    const frames = join(root, 'frames');
    const names = readdirSync(frames).sort();
    for (const [i, number] of taken.entries()) {
      copyFileSync(join(frames, names[number - 1]), join(folder, `f${String(i + 1).padStart(2, '0')}.jpg`));
    }
    served = await serveDesk({ folder: root });
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
    const shown = await (page ?? firstPage());
    // The same address twice would change nothing.
    await shown.goto(`${served.address}#/guide`);
    await shown.goto(`${served.address}${hash}`);
    return shown;
  }

  async function firstPage(): Promise<Page> {
    page = await browser.newPage({ viewport: { width: 1440, height: 900 } });
    noteErrors(page, problems);
    return page;
  }

  const address = (): string => `#/check?${new URLSearchParams({ folder })}`;
  const openChecked = async (): Promise<Page> => {
    const shown = await open(address());
    await shown.waitForSelector('.verdict', { timeout: 60_000 });
    return shown;
  };
  const selected = (shown: Page): Promise<string | null> =>
    shown.getAttribute('.frames [aria-selected=true]', 'id');

  test('is reached from the place of a stack, fills its strip and says what would spoil the merge', async () => {
    const shown = await open(`#/places?${new URLSearchParams({ folder })}`);
    // Not the one in the bar of screens.
    await shown.locator('.actions').getByRole('link', { name: 'Check' }).click();
    await shown.waitForSelector('.verdict', { timeout: 60_000 });
    expect(await shown.locator('.frames [role=option] img').count()).toBe(taken.length);
    expect(await shown.locator('.verdict-list .rank').allTextContents()).toContain('flaw');
    expect(await shown.locator('.verdict-list').textContent()).toContain('frame 6 repeats frame 3');
  });

  test('keeps the verdicts of a check for a page that is opened again', async () => {
    const before = served.desk.jobs.list().length;
    await openChecked();
    expect(served.desk.jobs.list()).toHaveLength(before);
  });

  test('goes from a verdict to its frame, and through the strip by keys', async () => {
    const shown = await openChecked();
    await shown.getByRole('button', { name: 'frame 6', exact: true }).click();
    expect(await selected(shown)).toBe('strip-6');
    expect(await shown.locator('.chosen h2').textContent()).toContain('Frame 6');
    const [strip, frame] = await Promise.all(
      ['.frames', '#strip-6'].map((selector) => shown.locator(selector).boundingBox()),
    );
    expect(frame!.x).toBeGreaterThanOrEqual(strip!.x - 1);
    expect(frame!.x + frame!.width).toBeLessThanOrEqual(strip!.x + strip!.width + 1);
    await shown.locator('.frames').focus();
    await shown.keyboard.press('ArrowRight');
    expect(await selected(shown)).toBe('strip-7');
    await shown.keyboard.press('End');
    expect(await selected(shown)).toBe(`strip-${taken.length}`);
    expect(await shown.getAttribute('.frames', 'aria-activedescendant')).toBe(`strip-${taken.length}`);
    await shown.keyboard.press('Delete');
    expect(await shown.locator('.left-out').count()).toBe(1);
    await shown.keyboard.press('Delete');
    expect(await shown.locator('.left-out').count()).toBe(0);
  });

  test('carries fixes over: to the merge, and to the check that follows, where their verdicts are gone', async () => {
    const shown = await openChecked();
    const merge = shown.locator('.onward a');
    const fix = shown.getByRole('button', { name: 'Leave out frame 6' });
    await fix.click();
    expect(await fix.getAttribute('aria-pressed')).toBe('true');
    expect(await shown.textContent('.onward')).toContain('Merged without frame 6');
    await fix.click();
    expect(await merge.getAttribute('href')).not.toContain('skip');
    await fix.click();
    await shown.getByRole('button', { name: 'Runs from far to near' }).click();
    const verdicts = shown.locator('.verdict-list');
    expect(await verdicts.textContent()).toContain('runs backwards');
    // By time it does not, and the copy has another number.
    await shown.getByRole('button', { name: 'Order by time' }).first().click();
    await expect.poll(() => verdicts.textContent(), { timeout: 60_000 }).toContain('run from far to near');
    expect(await verdicts.textContent()).not.toMatch(/repeats|runs backwards/);
    const numbers = await shown.locator('.frames .left-out .number').allTextContents();
    expect(numbers).toEqual(['5']);
    await merge.click();
    await shown.waitForSelector('[name=skip]', { state: 'attached' });
    expect(await shown.inputValue('[name=skip]')).toBe('5');
    expect(await shown.inputValue('[name=direction]')).toBe('far-to-near');
    expect(await shown.inputValue('[name=order]')).toBe('time');
  });

  test('takes a step, with which advice comes in mm, and refuses in words what it cannot take', async () => {
    const shown = await openChecked();
    await shown.getByLabel('Step from frame to frame').fill('0,05 mm');
    await shown.getByLabel('Step from frame to frame').press('Tab');
    expect(await shown.textContent('.onward')).toContain('a step of 0.05 mm');
    const refused = await shown.evaluate(async (path) => {
      const ask = (choices: object, at = path): Promise<Response> =>
        fetch('api/check', {
          method: 'POST',
          headers: { 'Content-Type': 'application/json' },
          body: JSON.stringify({ folder: at, choices }),
        });
      const answers = [await ask({ skip: [0] }), await ask({ order: 'size' }), await ask({}, '/')];
      return Promise.all(answers.map(async (answer) => `${answer.status} ${await answer.text()}`));
    }, folder);
    expect(refused[0]).toMatch(/^409 .*Expected frame numbers from 1/);
    expect(refused[1]).toMatch(/^409 .*Expected time or name/);
    expect(refused[2]).toMatch(/^409 .*outside of the folders/);
    // The browser notes each refusal.
    problems.splice(0);
  });

  test('is without violation for axe-core and no wider than its window: dark and light, 400 to 3840 px', async () => {
    const shown = await openChecked();
    await shown.evaluate(axe.source);
    for (const [colorScheme, width] of [
      ['dark', 1440],
      ['light', 400],
      ['dark', 400],
      ['light', 3840],
    ] as const) {
      await shown.emulateMedia({ colorScheme });
      await shown.setViewportSize({ width, height: 900 });
      const found = await shown.evaluate(async () => {
        for (const details of document.querySelectorAll('details')) details.open = true;
        const { violations } = await (window as unknown as { axe: typeof axe }).axe.run();
        return violations.map(
          ({ id, nodes }) =>
            `${id}: ${nodes
              .map(({ html }) => html)
              .join(' ')
              .slice(0, 400)}`,
        );
      });
      expect(found, `${colorScheme} ${width}`).toEqual([]);
      const overflow = await shown.evaluate(() => {
        const screen = document.querySelector('#screen')!;
        return Math.max(
          screen.scrollWidth - screen.clientWidth,
          document.documentElement.scrollWidth - innerWidth,
        );
      });
      expect(overflow, `${width}`).toBeLessThanOrEqual(0);
    }
  });
});

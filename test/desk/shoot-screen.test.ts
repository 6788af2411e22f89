/// <reference lib="dom" />
import { copyFileSync, mkdirSync, mkdtempSync, renameSync, utimesSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import axe from 'axe-core';
import type { Browser, BrowserContextOptions, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { type ServedDesk, serveDesk } from '../../src/desk/serve.js';
import { removeAfter } from '../temporary-folders.js';
import { findBrowser, launchBrowser, noteErrors } from '../view/browser.js';

describe.skipIf(findBrowser() === undefined)('the shoot screen in Chromium', () => {
  let browser: Browser;
  let served: ServedDesk;
  let root: string;
  let page: Page | undefined;
  const problems: string[] = [];

  beforeAll(async () => {
    root = mkdtempSync(join(tmpdir(), 'lamella-shoot-'));
    removeAfter('file', root);
    const stack = { scene: 'tilted-plane', width: 320, height: 240, frames: 12, stepPart: 0.7 } as const;
    await renderScene({ ...stack, out: join(root, 'rendered') });
    browser = await launchBrowser(findBrowser()!);
    served = await serveDesk({ folder: root });
  });
  afterAll(async () => {
    await browser?.close();
    await served?.close();
  });
  afterEach(async () => {
    await page?.context().close();
    expect(problems.splice(0)).toEqual([]);
  });

  async function open(hash: string, options: BrowserContextOptions = {}): Promise<Page> {
    const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, ...options });
    page = await context.newPage();
    noteErrors(page, problems);
    page.on('request', (request) => {
      if (!request.url().startsWith(served.address) && !request.url().startsWith('data:'))
        problems.push(`request to ${request.url()}`);
    });
    await page.goto(`${served.address}${hash}`);
    return page;
  }

  /** A folder of its own into which frames arrive. */
  function tether(name: string): { folder: string; shoot: (...numbers: number[]) => void } {
    const folder = join(root, name);
    mkdirSync(folder);
    const shoot = (...numbers: number[]): void => {
      for (const number of numbers) {
        const path = join(folder, `${String(number).padStart(4, '0')}.jpg`);
        copyFileSync(join(root, `rendered/frames/${String(number).padStart(4, '0')}.jpg`), `${path}.tmp`);
        utimesSync(`${path}.tmp`, 1e9 + number, 1e9 + number);
        renameSync(`${path}.tmp`, path);
      }
    };
    return { folder, shoot };
  }

  const count = (shown: Page, frames: number) =>
    shown.waitForFunction(
      (wanted) => document.querySelector('.count strong')?.textContent === String(wanted),
      frames,
      { timeout: 60_000 },
    );

  /** Faults that axe-core finds, each with the element. */
  async function accessFaults(shown: Page): Promise<string[]> {
    // In the page by an element would be against its policy.
    await shown.evaluate(axe.source);
    const found = await shown.evaluate(async () => {
      const { violations } = await (globalThis as unknown as { axe: typeof axe }).axe.run();
      return violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html).join(' ')}`);
    });
    return found;
  }

  test('goes from a folder to the verdict on its frames, by presses alone', async () => {
    const { folder, shoot } = tether('bee');
    const shown = await open(`#/places?${new URLSearchParams({ folder })}`);
    await shown.getByRole('link', { name: 'Shoot into it' }).click();
    expect(await shown.inputValue('#shoot-folder')).toBe(folder);
    await shown.fill('#shoot-step', '0.05');
    await shown.fill('#shoot-frames', '12');
    await shown.getByRole('button', { name: 'Watch' }).click();
    await shown.getByText('Waiting for the first frame').waitFor();
    shoot(1, 2, 3, 4, 5);
    await count(shown, 5);
    await shown.getByText('about 7 to go').waitFor();
    expect(await shown.locator('.axis .bar').count()).toBe(5);
    expect(await shown.getByRole('status').textContent()).toMatch(/^Frame 5 \(0005\.jpg\): at 0\.\d+ mm/);
    shoot(6, 8, 9);
    await shown.locator('.remarks .spoils', { hasText: 'about 2 times as far as usual' }).waitFor();
    expect(await shown.locator('.axis .fault').count()).toBe(2);
    shoot(7);
    await count(shown, 9);
    await shown.waitForFunction(() => document.querySelectorAll('.remarks li').length === 0);
    expect(await shown.locator('.axis .fault').count()).toBe(0);
    // A page that is opened again shows it as it is.
    await shown.reload();
    await count(shown, 9);
    await shown.getByRole('button', { name: 'End the watch' }).click();
    await shown.getByRole('status').filter({ hasText: '9 frames.' }).waitFor();
    await shown.getByRole('link', { name: 'Merge', exact: true }).last().click();
    await shown.waitForURL(/#\/merge\?folder=.*bee&step=0\.05/);
  });

  test('sounds a tone for each frame where that is wished, and none where it is not', async () => {
    const { folder, shoot } = tether('wasp');
    const shown = await open(`#/shoot?${new URLSearchParams({ folder })}`);
    await shown.evaluate(() => {
      const heard: number[] = [];
      Object.assign(globalThis, { heard });
      const start = OscillatorNode.prototype.start;
      OscillatorNode.prototype.start = function (when) {
        heard.push(this.frequency.value);
        start.call(this, when);
      };
    });
    const heard = () => shown.evaluate(() => (globalThis as unknown as { heard: number[] }).heard);
    await shown.getByRole('button', { name: 'Watch' }).click();
    shoot(1, 2, 3);
    await count(shown, 3);
    expect(await heard()).toEqual([]);
    await shown.getByRole('checkbox', { name: /^Tones/ }).check();
    // One to hear what it is like.
    expect(await heard()).toEqual([880]);
    shoot(4);
    await count(shown, 4);
    expect(await heard()).toEqual([880, 880]);
    copyFileSync(join(folder, '0004.jpg'), join(folder, '0005.jpg'));
    await count(shown, 5);
    expect(await heard()).toEqual([880, 880, 220, 220]);
    await shown.getByRole('button', { name: 'End the watch' }).click();
  });

  test.each([
    ['dark', 1440],
    ['light', 400],
  ] as const)('has no fault that axe-core finds, and fits: %s, %d px', async (colorScheme, width) => {
    const { folder, shoot } = tether(`fly-${width}`);
    const shown = await open(`#/shoot?${new URLSearchParams({ folder, frames: '14' })}`, {
      colorScheme,
      viewport: { width, height: 900 },
    });
    await shown.getByRole('button', { name: 'Watch' }).waitFor();
    expect(await accessFaults(shown)).toEqual([]);
    await shown.getByRole('button', { name: 'Watch' }).click();
    shoot(1, 2, 3, 4, 5, 6, 8, 9);
    await shown.locator('.remarks .spoils').waitFor();
    expect(await accessFaults(shown)).toEqual([]);
    // Nothing but the bar of screens scrolls sideways.
    expect(await shown.evaluate(() => document.querySelector('#screen')!.scrollWidth)).toBeLessThanOrEqual(
      width,
    );
    await shown.getByRole('button', { name: 'End the watch' }).click();
  });

  test('refuses a folder outside of its roots, and a step that is none, with what to do', async () => {
    const shown = await open(`#/shoot?${new URLSearchParams({ folder: tmpdir() })}`);
    await shown.getByRole('button', { name: 'Watch' }).click();
    await shown.locator('.toast:not([hidden])').waitFor();
    await shown.fill('#shoot-folder', root);
    await shown.fill('#shoot-step', '-1');
    await shown.getByRole('button', { name: 'Watch' }).click();
    await shown.locator('.toast', { hasText: 'Step' }).waitFor();
    // The browser notes each answer that is a refusal.
    problems.splice(0);
  });
});

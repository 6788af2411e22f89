/// <reference lib="dom" />
import { mkdirSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import axe from 'axe-core';
import type { Browser, BrowserContextOptions, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { type ServedDesk, serveDesk } from '../../src/desk/serve.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { placeFrames } from '../batch/tiny-stacks.js';
import { renderPlane } from '../merge/small-stack.js';
import { makeFolder } from '../stack/pictures.js';
import { findBrowser, launchBrowser, noteErrors } from '../view/browser.js';

describe.skipIf(findBrowser() === undefined)('the desk in Chromium', () => {
  let browser: Browser;
  let served: ServedDesk;
  let root: string;
  let page: Page;
  const problems: string[] = [];

  beforeAll(async () => {
    const { files } = await renderPlane();
    root = join(makeFolder(), 'photographs');
    for (const name of ['bee', 'fly', 'card/wasp']) placeFrames(join(root, name), files, 1, 7);
    // Named against the order of their times: e is the first.
    mkdirSync(join(root, 'turned'));
    for (const [i, name] of ['e', 'd', 'c', 'b', 'a'].entries())
      writeFileSync(join(root, 'turned', `${name}.jpg`), files[`000${i + 1}.jpg`]);
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

  async function open(hash = '', options: BrowserContextOptions = {}): Promise<Page> {
    const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, ...options });
    page = await context.newPage();
    noteErrors(page, problems);
    page.on('request', (request) => {
      const url = request.url();
      if (!url.startsWith(served.address) && !/^(data|blob):/.test(url)) problems.push(`asked ${url}`);
    });
    await page.goto(`${served.address}${hash}`);
    await page.waitForSelector('body[data-ready]');
    return page;
  }

  const of = (path: string, values: Record<string, string> = {}): string =>
    `#/${path}?${new URLSearchParams(values)}`;

  test('goes on merging when the page is closed, and shows it when it is opened again', async () => {
    await open(of('merge', { folder: join(root, 'card', 'wasp') }));
    await page.getByLabel('Step from frame to frame').fill('0,1');
    await page.getByRole('button', { name: 'Merge' }).click();
    await page.waitForSelector('.stage');
    await page.context().close();
    await open(of('merge'));
    const line = page.locator('.folders li').first();
    expect(await line.textContent()).toContain('wasp');
    await expect.poll(() => line.textContent(), { timeout: 90_000 }).toContain('merged');
    const record = await readRunRecord(join(root, 'card', 'wasp-merged'));
    expect(record.options.stepMm).toBe(0.1);
    await line.getByRole('link').click();
    await page.getByRole('img', { name: 'The result of wasp' }).waitFor();
    await page.getByRole('button', { name: 'Look at it' }).click();
    await page.waitForSelector('#canvas');
  });

  test('cancels a merge by a click, and nothing of it is left', async () => {
    await open(of('merge', { folder: join(root, 'fly') }));
    await page.getByRole('button', { name: 'Merge' }).click();
    await page.getByRole('button', { name: 'Cancel' }).click();
    await page.waitForSelector('[role=alert]');
    expect(await page.locator('[role=alert]').textContent()).toContain('Cancelled');
    expect(readdirSync(root).filter((name) => name.includes('fly'))).toEqual(['fly']);
  });

  test('keeps the photographs that were chosen by number when their order changes', async () => {
    await open(of('merge', { folder: join(root, 'turned') }));
    await page.getByText('How it is merged').click();
    const anchor = page.getByLabel('Framing of');
    const skip = page.getByLabel('Leave out frames');
    await anchor.selectOption({ label: '2: d.jpg' });
    await skip.fill('1, 3');
    await page.getByLabel('Order of frames').selectOption('name');
    await expect.poll(() => skip.inputValue()).toBe('3, 5');
    expect(await anchor.evaluate((select: HTMLSelectElement) => select.selectedOptions[0].text)).toBe(
      '4: d.jpg',
    );
    await page.getByLabel('Order of frames').selectOption('time');
    await expect.poll(() => skip.inputValue()).toBe('1, 3');
  });

  test('ticks, sorts and merges a night, and shows how it went', async () => {
    await open(of('night', { folder: root }));
    await page.waitForSelector('.order li');
    const names = () => page.locator('.order .name').allTextContents();
    await page.getByRole('checkbox', { name: 'turned' }).uncheck();
    expect(await names()).toEqual(['bee', 'card/wasp', 'fly', 'turned']);
    await page.getByRole('button', { name: 'Move fly up' }).click();
    await page.getByRole('button', { name: 'Move fly up' }).click();
    expect(await names()).toEqual(['fly', 'bee', 'card/wasp', 'turned']);
    await page.getByRole('checkbox', { name: 'card/wasp' }).uncheck();
    await page.getByRole('button', { name: 'Merge 2 stacks' }).click();
    await page.getByRole('heading', { name: 'How the night went' }).waitFor({ timeout: 120_000 });
    await page.waitForSelector('.night h3');
    expect((await page.locator('.night h3').allTextContents()).sort()).toEqual(['bee', 'fly']);
    await page.getByRole('button', { name: 'Look at fly' }).click();
    await page.waitForSelector('body[data-ready] #canvas');
    await expect.poll(() => page.locator('#name').textContent()).toBe('fly');
  });

  test('says why something cannot be done, on the page', async () => {
    await open(of('places', { folder: '/' }));
    await page.waitForSelector('[role=alert]');
    expect(await page.locator('[role=alert]').textContent()).toContain('outside of the folders');
    // The browser reports what was refused, as it should.
    expect(problems.splice(0).every((text) => text.includes('409'))).toBe(true);
    await page.getByLabel('Path of a folder').fill(join(root, 'bee'));
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'bee' }).waitFor();
  });

  test('takes no text for a length or a number, and points at the field, also at one that is folded away', async () => {
    await open(of('merge', { folder: join(root, 'bee') }));
    const merge = page.locator('#screen').getByRole('button', { name: 'Merge' });
    const step = page.getByLabel('Step from frame to frame');
    const focused = () => page.evaluate(() => (document.activeElement as HTMLInputElement).name);
    await step.fill('wide');
    await merge.click();
    expect([
      await focused(),
      await step.evaluate((field: HTMLInputElement) => field.validationMessage),
    ]).toEqual(['stepMm', expect.stringContaining('in millimetres')]);
    await step.fill('50 µm');
    await page.getByText('How it is merged').click();
    const skip = page.getByLabel('Leave out frames');
    await skip.fill('the last');
    await page.getByText('How it is merged').click();
    await merge.click();
    expect([await focused(), await skip.isVisible()]).toEqual(['skip', true]);
    expect(served.desk.jobs.list().filter(({ title }) => title === 'bee')).toEqual([]);
  });

  test('leads to a stack, a result and a folder of stacks on the very screens that need one', async () => {
    await open('#/merge');
    await page.locator('.card').getByRole('link', { name: 'fly' }).waitFor();
    await page.locator('.folders').getByRole('link', { name: 'card' }).click();
    await page.locator('.card').getByRole('link', { name: 'wasp' }).first().click();
    await page.waitForSelector('form.side');
    await page.goto(`${served.address}#/check`);
    await page.locator('.card').getByRole('link', { name: 'wasp' }).waitFor();
    await page.getByRole('navigation', { name: 'Other folders' }).getByRole('link').first().click();
    await page.locator('.card').getByRole('link', { name: 'bee' }).waitFor();
    await page.goto(`${served.address}${of('look', { in: join(root, 'card') })}`);
    await page.locator('.card').getByRole('button', { name: 'wasp-merged' }).first().waitFor();
    await page.getByRole('heading', { name: 'Results in card' }).waitFor();
    await page.goto(`${served.address}#/night`);
    await page.locator('.folders').getByRole('link', { name: 'card' }).waitFor();
  });

  test('says on every screen when Lamella has ended', async () => {
    const other = await serveDesk({ folder: root });
    const context = await browser.newContext();
    page = await context.newPage();
    await page.goto(other.address);
    await page.waitForSelector('.card');
    await other.close();
    await page.locator('.lost').waitFor();
    await page.locator('#nav').getByRole('link', { name: 'Check' }).click();
    await expect.poll(() => page.locator('#notice').textContent()).toContain('start it again');
    await page.locator('#nav').getByRole('link', { name: 'Merge' }).click();
    await page.locator('#screen [role=alert]').waitFor();
  });

  test('finds a folder that is dropped on it, though the browser hides its path', async () => {
    await open();
    await page.waitForSelector('.card');
    await page.evaluate(() => {
      const file = { isFile: true, isDirectory: false, name: '0003.jpg' };
      const folder = {
        ...{ isFile: false, isDirectory: true, name: 'wasp' },
        createReader: () => ({ readEntries: (take: (entries: object[]) => void) => take([file]) }),
      };
      const event = new Event('drop', { bubbles: true, cancelable: true });
      const items = [{ webkitGetAsEntry: () => folder }];
      Object.defineProperty(event, 'dataTransfer', { value: { items, getData: () => '' } });
      document.body.dispatchEvent(event);
    });
    await page.getByRole('heading', { name: 'wasp' }).waitFor();
  });

  test('is small, paints soon, and asks nobody else', async () => {
    await open();
    await page.waitForSelector('.card');
    const firstPaintMs = await page.evaluate(
      () => performance.getEntriesByName('first-contentful-paint')[0]?.startTime,
    );
    console.log(`first paint of the desk after ${firstPaintMs?.toFixed(0)} ms`);
    // All screens, with the scripts that are loaded late.
    for (const name of await page.locator('#nav a').allTextContents()) {
      await page.locator('#nav').getByRole('link', { name, exact: true }).click();
      await page.locator('#screen :is(h1, h2)').first().waitFor();
    }
    await page.waitForLoadState('networkidle');
    const sizes = await page.evaluate(() =>
      performance
        .getEntriesByType('resource')
        .concat(performance.getEntriesByType('navigation'))
        .map((entry) => entry as PerformanceResourceTiming)
        .filter(({ name }) => !/\/(thumbnail|strip|api\/)/.test(name))
        .map(({ name, decodedBodySize }) => [name, decodedBodySize] as const),
    );
    expect(sizes.length).toBeGreaterThan(20);
    expect(sizes.reduce((sum, [, size]) => sum + size, 0)).toBeLessThan(300_000);
  });

  test('is used by keys alone, and the focus is seen and follows', async () => {
    await open();
    await page.waitForSelector('.card');
    await page.keyboard.press('Tab');
    expect(await page.evaluate(() => document.activeElement?.textContent)).toBe('To the screen');
    await page.keyboard.press('Enter');
    expect(await page.evaluate(() => document.activeElement?.id)).toBe('screen');
    await page.getByRole('link', { name: 'bee' }).focus();
    await page.keyboard.press('Enter');
    await page.waitForSelector('.actions');
    expect(await page.evaluate(() => document.activeElement?.id)).toBe('screen');
  });

  // axe-core by Deque (MPL-2.0), rules of WCAG 2.2 A and AA and its best practices.
  test.each(['dark', 'light'] as const)(
    'in %s nothing is amiss for axe-core, at 1440 and 400 px',
    async (colorScheme) => {
      await open('', { colorScheme, bypassCSP: true });
      await page.addScriptTag({ content: axe.source });
      const stack = join(root, 'bee');
      const done = served.desk.jobs.list().find(({ kind, state }) => kind === 'merge' && state === 'done');
      const all = await page
        .locator('#nav a')
        .evaluateAll((links) => links.map((link) => link.getAttribute('href')!));
      const states: [string, string][] = [
        ...all.map((address): [string, string] => [address, 'h1, h2']),
        [of('places', { folder: stack }), '.strip img'],
        [of('merge', { folder: stack }), 'form.side'],
        [of('merge', { job: String(done!.id) }), '.stage'],
        [of('night', { folder: root }), '.order'],
        [of('night', { results: `${root}-merged` }), '.night'],
        [of('guide', { topic: 'merging' }), 'article table'],
      ];
      for (const [address, there] of states) {
        await page.evaluate((hash) => {
          location.hash = hash;
        }, address);
        await page.locator(`#screen :is(${there})`).first().waitFor();
        await page.locator('#screen details').evaluateAll((folded) => {
          for (const details of folded as HTMLDetailsElement[]) details.open = true;
        });
        for (const width of [1440, 400]) {
          await page.setViewportSize({ width, height: 900 });
          expect([address, width, await faults()]).toEqual([address, width, []]);
        }
      }
    },
  );

  /** What axe-core finds, and whether anything is wider than its window. */
  function faults(): Promise<string[]> {
    return page.evaluate(async () => {
      const { violations } = await (globalThis as unknown as { axe: typeof axe }).axe.run(document, {
        resultTypes: ['violations'],
      });
      const widths = [document.documentElement, document.querySelector('#screen')!].map(
        ({ scrollWidth }) => scrollWidth,
      );
      const flags = document.body.textContent.match(/--[a-z][\w-]*/g) ?? [];
      return [
        ...flags,
        ...violations.flatMap(({ id, nodes }) =>
          nodes.map(({ html, failureSummary }) => `${id}: ${html.slice(0, 160)} ${failureSummary}`),
        ),
        ...(Math.max(...widths) > innerWidth ? ['wider than its window'] : []),
      ];
    });
  }
});

/// <reference lib="dom" />
import { realpathSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Locator, Page } from 'playwright-core';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type ServedDesk, serveDesk } from '../../src/desk/serve.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { makeFolder } from '../stack/pictures.js';
import { findBrowser, launchBrowser, noteErrors } from '../view/browser.js';

/** SAMPLE=whole drives the sample at its own size, as `npm start` renders it: half a minute more of one core. */
const isWhole = process.env.SAMPLE === 'whole';

describe.skipIf(findBrowser() === undefined)('who never saw a terminal', () => {
  let browser: Browser;
  let served: ServedDesk;
  let page: Page;
  let folder: string;
  let clicks = 0;
  const problems: string[] = [];

  beforeAll(async () => {
    folder = join(realpathSync(makeFolder()), 'sample');
    // The same scene, photographs and way through the page; a third of its sides takes a ninth of the time.
    const size = isWhole ? {} : { size: { width: 400, height: 266 } };
    served = await serveDesk({ folder: makeFolder(), sample: { folder, ...size } });
    browser = await launchBrowser(findBrowser()!);
    page = await browser.newPage({ viewport: { width: 1440, height: 900 } });
    noteErrors(page, problems);
  });
  afterAll(async () => {
    await browser?.close();
    await served?.close();
  });

  const click = async (target: Locator): Promise<void> => {
    clicks++;
    await target.click();
  };
  const result = () => join(folder, 'frames-merged');
  const picture = async () => {
    const { composite } = await readRunRecord(result());
    return sharp(join(result(), composite.file)).raw().toBuffer();
  };

  test('comes from the started page to a merged picture of the sample in six clicks', async () => {
    const startedMs = performance.now();
    await page.goto(served.address);
    await click(page.getByRole('button', { name: 'Sample stack' }));
    await page.getByRole('heading', { name: 'Sample stack' }).waitFor({ timeout: 110_000 });
    const renderedMs = performance.now();
    await click(page.locator('.actions').getByRole('link', { name: 'Merge' }));
    await click(page.getByRole('button', { name: 'Merge' }));
    await page.waitForSelector('body[data-ready] #canvas', { timeout: 110_000 });
    expect(clicks).toBeLessThanOrEqual(6);
    const record = await readRunRecord(result());
    expect(record.frames).toHaveLength(24);
    expect(record.options).toMatchObject({ stepMm: expect.closeTo(0.035, 3) });
    const [all, rendering] = [performance.now() - startedMs, renderedMs - startedMs].map((ms) => ms / 1000);
    console.log(
      `${clicks} clicks, ${all.toFixed(1)} s at ${record.frameSize.width} x ${record.frameSize.height}, ${rendering.toFixed(1)} s of them rendering`,
    );
  });

  test('and to a mended one in six more', async () => {
    clicks = 0;
    const before = await picture();
    await click(page.getByRole('radio', { name: 'Mend', exact: true }));
    // One stroke of the pointer about a place counts as a click.
    clicks++;
    const box = (await page.locator('#canvas').boundingBox())!;
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    await page.mouse.move(x - 60, y - 40);
    await page.mouse.down();
    for (const [dx, dy] of [
      [60, -40],
      [60, 40],
      [-60, 40],
      [-58, -34],
    ]) {
      await page.mouse.move(x + dx, y + dy, { steps: 4 });
    }
    await page.mouse.up();
    await page.waitForSelector('button.crop');
    await click(page.locator('button.crop').last());
    await page.waitForFunction(() => /Blended/.test(document.querySelector('#mend-state')!.textContent!));
    await click(page.getByRole('button', { name: 'Save' }));
    await page.waitForFunction(() => document.querySelector('#mend-state')!.textContent === 'Saved.');
    expect(clicks).toBeLessThanOrEqual(6);
    expect((await readRunRecord(result())) as object).toHaveProperty('mends');
    expect((await picture()).equals(before)).toBe(false);
  });

  test('finds the way back, and what was made', async () => {
    await page.getByRole('link', { name: 'Desk' }).click();
    await page.waitForSelector('.of-look .card');
    expect(await page.locator('.of-look .card .name').first().textContent()).toBe('frames-merged');
    expect(problems).toEqual([]);
  });
});

/// <reference lib="dom" />
import type { Browser, BrowserContextOptions, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, expect } from 'vitest';
import { merge } from '../../src/mend/merge.js';
import { type Served, serveResult } from '../../src/view/serve.js';
import { placeStack, renderPlane } from '../merge/small-stack.js';
import { findBrowser, launchBrowser, noteErrors } from './browser.js';

/** Size of the composite that the page shows. */
export const size = { width: 240, height: 180 };

export interface PageFixture {
  out: string;
  served: Served;
  /** What went wrong on the pages opened so far: errors, and requests to elsewhere. */
  problems: string[];
  /** A page that stands, with the focus measured. */
  open(options?: BrowserContextOptions, before?: (page: Page) => Promise<void>): Promise<Page>;
  close(): Promise<void>;
}

/** A merged stack of seven frames, 240 x 180, served to a browser. */
async function openPageFixture(): Promise<PageFixture> {
  const { files } = await renderPlane();
  const { frames, out } = placeStack(files);
  await merge(frames, { out, crop: 'anchor', stepMm: 0.1, fieldWidthMm: 2.4, threads: 2 });
  const browser: Browser = await launchBrowser(findBrowser()!);
  const served = await serveResult(out);
  const problems: string[] = [];
  return {
    out,
    served,
    problems,
    async open(options = {}, before) {
      const context = await browser.newContext({ viewport: { width: 1200, height: 800 }, ...options });
      const page = await context.newPage();
      noteErrors(page, problems);
      await before?.(page);
      await page.goto(served.address);
      await page.waitForSelector('body[data-ready]');
      await page.waitForFunction(() => document.querySelector('#progress')?.textContent === '');
      while (served.viewer.progress().measured < 7) await page.waitForTimeout(50);
      return page;
    },
    async close() {
      await browser.close();
      await served.close();
    },
  };
}

/**
 * `openPageFixture` for the tests of a group: after each the page that it opened last is closed, and nothing may have gone
 * wrong on it.
 */
export function usePageFixture(): Omit<PageFixture, 'close'> {
  let fixture: PageFixture;
  let page: Page | undefined;
  beforeAll(async () => {
    fixture = await openPageFixture();
  });
  afterAll(() => fixture?.close());
  afterEach(async () => {
    await page?.context().close();
    expect(fixture.problems.splice(0)).toEqual([]);
  });
  return {
    get out() {
      return fixture.out;
    },
    get served() {
      return fixture.served;
    },
    get problems() {
      return fixture.problems;
    },
    async open(...options) {
      page = await fixture.open(...options);
      return page;
    },
  };
}

/** The screen place of a composite pixel, from the page's own fit: the picture fills the canvas, centred. */
export async function placeOf(page: Page, x: number, y: number): Promise<[number, number]> {
  const box = (await page.locator('#canvas').boundingBox())!;
  const scale = Math.min(box.width / size.width, box.height / size.height, 8);
  return [
    box.x + (box.width - (size.width - 1) * scale) / 2 + x * scale,
    box.y + (box.height - (size.height - 1) * scale) / 2 + y * scale,
  ];
}

/** Drags along composite pixels. */
export async function drag(page: Page, points: readonly (readonly [number, number])[]): Promise<void> {
  for (const [i, [x, y]] of points.entries()) {
    await page.mouse.move(...(await placeOf(page, x, y)), { steps: i === 0 ? 1 : 4 });
    if (i === 0) await page.mouse.down();
  }
  await page.mouse.up();
}

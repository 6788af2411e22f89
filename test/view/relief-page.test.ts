/// <reference lib="dom" />
import axe from 'axe-core';
import type { Page } from 'playwright-core';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { slabOf } from '../../src/view/page/slab.js';
import { sampleFrame } from '../result/sample-record.js';
import { findBrowser } from './browser.js';
import { ask } from './made-page.js';
import { usePageFixture } from './page-fixture.js';

/** Drawing without a graphics card takes its time on a busy machine. */
const wait = { timeout: 30_000 };

describe.skipIf(findBrowser() === undefined)('the relief in the page', () => {
  const fixture = usePageFixture();
  let page: Page;

  const status = () => page.textContent('#relief-status');
  const drawn = () => page.locator('#relief').getAttribute('data-drawn');

  /** What the relief's canvas shows, once it has been drawn after `change`. */
  async function shown(change: () => Promise<unknown> = async () => {}): Promise<Buffer> {
    const before = await drawn();
    await change();
    await expect.poll(drawn, wait).not.toBe(before);
    const url = await page.evaluate(() =>
      (document.querySelector('#relief-canvas') as HTMLCanvasElement).toDataURL(),
    );
    return Buffer.from(url.split(',')[1], 'base64');
  }

  const slide = (id: string, value: string) => page.locator(id).fill(value);

  async function openRelief(options = {}): Promise<Buffer> {
    page = await fixture.open({ viewport: { width: 820, height: 480 }, ...options });
    return shown(async () => {
      await page.getByRole('button', { name: 'Relief' }).click();
      await expect.poll(status, wait).toContain('Seen 25° from the right');
    });
  }

  /** Pixels that are not of the ground, and the mean of their light. */
  async function covered(png: Buffer): Promise<{ count: number; light: number }> {
    const { data, info } = await sharp(png).removeAlpha().raw().toBuffer({ resolveWithObject: true });
    let [count, light] = [0, 0];
    for (let i = 0; i < data.length; i += info.channels) {
      if ([0, 1, 2].every((k) => Math.abs(data[i + k] - data[k]) <= 2)) continue;
      count++;
      light += data[i] + data[i + 1] + data[i + 2];
    }
    return { count, light: light / Math.max(1, count) };
  }

  test('is drawn, turns by keys and by the pointer, and says how it is seen', async () => {
    const first = await openRelief();
    expect((await covered(first)).count).toBeGreaterThan(2000);
    await page.locator('#relief-canvas').focus();
    const turned = await shown(() => page.keyboard.press('ArrowRight'));
    expect(await status()).toContain('Seen 35° from the right');
    expect(turned.equals(first)).toBe(false);
    await shown(() => page.keyboard.press('Shift+ArrowUp'));
    expect(await status()).toContain('16° from above');
    await shown(() => page.keyboard.press('1'));
    expect(await status()).toContain('Seen from the front');
    const box = (await page.locator('#relief-canvas').boundingBox())!;
    await page.mouse.move(box.x + 200, box.y + 200);
    await page.mouse.down();
    await shown(() => page.mouse.move(box.x + 150, box.y + 200, { steps: 2 }));
    await page.mouse.up();
    expect(await status()).toContain('Seen 20° from the right');
    expect((await shown(() => page.keyboard.press('0'))).equals(first)).toBe(true);
  });

  test('is lit by a lamp that moves, with depth exaggerated and without the picture', async () => {
    const first = await openRelief();
    const low = await shown(() => slide('#relief-lamp-height', '0'));
    expect((await covered(low)).light).toBeLessThan(0.8 * (await covered(first)).light);
    await shown(() => slide('#relief-lamp-height', '45'));
    expect((await shown(() => slide('#relief-lamp', '90'))).equals(first)).toBe(false);
    const deep = await shown(() => slide('#relief-depth', '3'));
    expect(await status()).toContain('depth 3 times');
    expect((await shown(() => page.locator('#relief-picture').uncheck())).equals(deep)).toBe(false);
  });

  test('lights the slab of the frames that are held on the ruler, and cuts away what is nearer', async () => {
    const first = await openRelief();
    const ruler = page.locator('#ruler svg');
    await ruler.focus();
    await shown(() => page.keyboard.press('Home'));
    for (const _ of [2, 3]) await shown(() => page.keyboard.press('ArrowDown'));
    const lit = await shown(() => page.keyboard.press('ArrowDown'));
    expect(await status()).toMatch(/frame \d, .* mm to .* mm, lit\.$/);
    expect(lit.equals(first)).toBe(false);
    const whole = (await covered(lit)).count;
    const cut = await shown(() => page.locator('#relief-cut').check());
    expect(await status()).toContain('lit and cut');
    expect((await covered(cut)).count).toBeLessThan(0.7 * whole);
  });

  test.each(['light', 'dark'] as const)('has no fault of accessibility in %s', async (colorScheme) => {
    await openRelief({ colorScheme });
    await page.evaluate(axe.source);
    const faults = await page.evaluate(async () => {
      const { violations } = await (globalThis as unknown as { axe: typeof axe }).axe.run(document);
      return violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html).join(' ')}`);
    });
    expect(faults).toEqual([]);
  });

  test('comes from this machine alone, under the same guard as the page', async () => {
    const { pathname } = new URL(fixture.served.address);
    const library = await ask(fixture.served.address, { path: `${pathname}three/three.core.js` });
    expect(library.status).toBe(200);
    expect(library.headers['content-security-policy']).toContain("script-src 'self'");
    const foreign = await ask(fixture.served.address, { path: '/relief.glb' });
    expect(foreign.status).toBe(403);
    const climbing = await ask(fixture.served.address, { path: `${pathname}three/../three/three.core.js` });
    expect(climbing.status).toBe(400);
  });
});

test('the slab of frames reaches half way to those before and behind', () => {
  const frames = [3, 0, 1, 7].map((depth, i) => ({
    ...sampleFrame(i + 1, { depth }),
    leftOutReason: null,
    isThere: true,
    scale: 1,
  }));
  expect(slabOf(frames, [3, 3])).toEqual({ near: 0.5, far: 2 });
  expect(slabOf(frames, [2, 3])).toEqual({ near: -0.5, far: 2 });
  expect(slabOf(frames, [4, 4])).toEqual({ near: 5, far: 9 });
  expect(slabOf(frames, [9, 9])).toBeUndefined();
});

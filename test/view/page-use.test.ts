/// <reference lib="dom" />
import axe from 'axe-core';
import type { Page, Route } from 'playwright-core';
import { describe, expect, test } from 'vitest';
import { mendFault } from '../../src/mend/check-mends.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { findStackFrames } from '../../src/trace/stack-frames.js';
import { findBrowser } from './browser.js';
import { drag, placeOf, usePageFixture } from './page-fixture.js';

// Skipped, each by its name, where no browser can be had.
describe.skipIf(findBrowser() === undefined)('using the page in Chromium', () => {
  const fixture = usePageFixture();
  let page: Page;

  const click = async (x: number, y: number): Promise<void> =>
    page.mouse.click(...(await placeOf(page, x, y)));
  const tool = (name: string): Promise<void> => page.getByRole('radio', { name, exact: true }).click();

  test('two clicks set a distance and a section, as dragging does, and a line follows the pointer', async () => {
    page = await fixture.open();
    await tool('Distance');
    await click(60, 60);
    expect(await page.textContent('#panel')).toContain('Set the second point.');
    await page.mouse.move(...(await placeOf(page, 110, 60)));
    await click(160, 60);
    await page.waitForSelector('#distance-main');
    expect(await page.textContent('#panel')).toContain('distance in the picture100.00 ± ');
    const clicked = await page.textContent('#distance-main');
    // A third click begins anew; the second one of a pair on one point counts once.
    await click(30, 30);
    await click(30, 30);
    expect(await page.textContent('#panel')).toContain('Set the second point.');
    await drag(page, [
      [60, 60],
      [160, 60],
    ]);
    await expect.poll(() => page.textContent('#panel')).toContain(clicked);

    await tool('Section');
    await click(30, 30);
    expect(await page.textContent('#panel')).toContain('Set the other end.');
    await click(210, 150);
    await page.waitForSelector('.plot .line');
    expect(await page.textContent('#section-summary')).toMatch(/^Section [\d.]+ mm long/);
  });

  test('clicks set the corners of an outline, and one on the first corner closes it', async () => {
    page = await fixture.open();
    await tool('Mend');
    for (const [x, y] of [
      [90, 60],
      [150, 60],
      [150, 120],
    ] as const) {
      await click(x, y);
    }
    expect(await page.textContent('#panel')).toContain('3 corners set.');
    await click(90, 60);
    await page.waitForSelector('button.crop');
  });

  test('after the window has changed its size the focus curve stands at its frames', async () => {
    page = await fixture.open();
    await page.mouse.move(...(await placeOf(page, 120, 90)));
    await page.waitForSelector('#ruler .tick.spot');
    const places = (): Promise<{ curve: number[]; ticks: number[]; lit: number }> =>
      page.evaluate(() => {
        const path = document.querySelector('#ruler .curve')?.getAttribute('d') ?? '';
        const numbers = [...path.matchAll(/,([\d.]+)/g)].map(([, y]) => Number(y));
        const lines = [...document.querySelectorAll('#ruler .tick line')];
        return {
          curve: [...new Set(numbers)],
          ticks: lines.map((line) => Number(Number(line.getAttribute('y1')).toFixed(1))),
          lit: document.querySelectorAll('#ruler .tick.spot').length,
        };
      });
    const before = await places();
    expect(before.curve).toEqual(before.ticks);
    // No hover in between: the pointer stays where it is.
    await page.setViewportSize({ width: 1000, height: 560 });
    await expect.poll(async () => (await places()).ticks).not.toEqual(before.ticks);
    const after = await places();
    expect(after.curve).toEqual(after.ticks);
    expect(after.lit).toBe(before.lit);
  });

  test('stepping through frames keeps the last picture until the next is there, reads ahead and names the file', async () => {
    const held: Route[] = [];
    let isHolding = false;
    page = await fixture.open({}, async (opening) => {
      await opening.route('**/tile/frame-*/**', (route) => {
        if (isHolding) held.push(route);
        else return route.continue();
      });
    });
    const record = await readRunRecord(fixture.out);
    const nameOf = (number: number) => record.frames.find((frame) => frame.number === number)!.name;
    const ahead = page.waitForResponse((response) => response.url().includes('/tile/frame-5/'));
    await page.getByRole('radio', { name: 'Frame' }).click();
    await page.fill('#frame-number', '4');
    await page.press('#frame-number', 'Enter');
    // Frame 5 was not asked for: it is read ahead.
    await ahead;
    expect(await page.textContent('#frame-name')).toBe(nameOf(4));
    await page.waitForSelector('#loading', { state: 'hidden' });

    isHolding = true;
    const pixels = () =>
      page.evaluate(() => (document.querySelector('#canvas') as HTMLCanvasElement).toDataURL());
    const last = await pixels();
    await page.fill('#frame-number', '1');
    await page.press('#frame-number', 'Enter');
    await page.waitForSelector('#loading', { state: 'visible' });
    expect(await page.textContent('#frame-name')).toBe(nameOf(1));
    expect(await pixels()).toBe(last);
    isHolding = false;
    await Promise.all(held.splice(0).map((route) => route.continue()));
    await page.waitForSelector('#loading', { state: 'hidden' });
    await expect.poll(pixels).not.toBe(last);
    await page.getByRole('button', { name: 'Next frame' }).click();
    expect(await page.textContent('#frame-name')).toBe(nameOf(2));
  });

  test('Mend offers the frames that it will accept, and no others', async () => {
    page = await fixture.open();
    const record = await readRunRecord(fixture.out);
    const frames = await findStackFrames(record);
    await tool('Mend');
    const seen = new Set<number>();
    for (const corners of [
      [
        [60, 60],
        [120, 60],
        [120, 110],
        [60, 110],
        [61, 64],
      ],
      [
        [0, 0],
        [40, 0],
        [40, 30],
        [0, 30],
        [0, 4],
      ],
      [
        [200, 140],
        [239, 140],
        [239, 179],
        [200, 179],
        [200, 144],
      ],
    ] as [number, number][][]) {
      const answer = page.waitForResponse((response) => response.url().endsWith('/api/candidates'));
      await drag(page, corners);
      const response = await answer;
      const { mends } = response.request().postDataJSON();
      const accepted = frames
        .filter(({ number }) => mendFault({ ...mends[0], frame: number }, record, frames) === undefined)
        .map(({ number }) => number);
      seen.add(accepted.length);
      if (accepted.length === 0) {
        expect(response.status()).toBe(409);
        continue;
      }
      await page.waitForSelector('button.crop');
      const values = await page
        .locator('[data-key=any-frame] option:not(:disabled)')
        .evaluateAll((options) => options.map((option) => Number((option as HTMLOptionElement).value)));
      expect(values).toEqual(accepted);
      for (const card of await page.locator('button.crop[data-frame]').all()) {
        expect(accepted).toContain(Number(await card.getAttribute('data-frame')));
      }
    }
    // The corners of the picture are beyond some frames, or the test shows nothing.
    expect(seen.size).toBeGreaterThan(1);
  });

  test('a mend that is refused was never done: nothing to redo, nothing to save', async () => {
    page = await fixture.open();
    await tool('Mend');
    await drag(page, [
      [60, 60],
      [120, 60],
      [120, 110],
      [60, 110],
      [61, 64],
    ]);
    await page.waitForSelector('button.crop');
    const undo = page.getByRole('button', { name: 'Undo' });
    const redo = page.getByRole('button', { name: 'Redo' });
    const save = page.getByRole('button', { name: 'Save' });
    expect([await undo.isDisabled(), await redo.isDisabled(), await save.isDisabled()]).toEqual([
      true,
      true,
      true,
    ]);
    let isRefusing = true;
    await page.route('**/api/preview', (route) => {
      if (!isRefusing) return route.continue();
      isRefusing = false;
      return route.fulfill({ status: 409, json: { message: 'Mend 1 cannot be applied.' } });
    });
    await page.locator('button.crop[data-frame]').first().click();
    await expect.poll(() => page.textContent('#status-text')).toBe('Mend 1 cannot be applied.');
    await expect.poll(() => page.locator('.mends li').count()).toBe(0);
    expect([await undo.isDisabled(), await redo.isDisabled(), await save.isDisabled()]).toEqual([
      true,
      true,
      true,
    ]);
    await page.keyboard.press('Control+y');
    expect(await page.locator('.mends li').count()).toBe(0);
    // Chromium reports every 409 on its console.
    expect(fixture.problems.splice(0).join()).toMatch(/409/);
    // Choosing the same frame twice is one change.
    await page.locator('button.crop[data-frame]').first().click();
    await expect.poll(() => page.locator('.mends li').count()).toBe(1);
    await expect.poll(() => undo.isEnabled()).toBe(true);
    await page.locator('button.crop[data-frame]').first().click();
    await undo.click();
    await expect.poll(() => page.locator('.mends li').count()).toBe(0);
    expect(await undo.isDisabled()).toBe(true);
    await expect.poll(() => redo.isEnabled()).toBe(true);
  });

  test('the feather that is proposed follows the size of the region', async () => {
    page = await fixture.open();
    await tool('Mend');
    const feathers: number[] = [];
    for (const side of [30, 120]) {
      const last = 20 + side;
      const answer = page.waitForResponse((response) => response.url().endsWith('/api/candidates'));
      await drag(page, [
        [60, 20],
        [60 + side, 20],
        [60 + side, last],
        [60, last],
        [60, 21],
      ]);
      await answer;
      await page.waitForSelector('[data-key=feather]');
      feathers.push(Number(await page.inputValue('[data-key=feather]')));
    }
    expect(Math.abs(feathers[0] - 7.5)).toBeLessThanOrEqual(1);
    // A quarter of the side, give or take the pixels of the screen.
    expect(Math.abs(feathers[1] - 30)).toBeLessThanOrEqual(1);
  });

  test.each([
    [400, 800],
    [700, 500],
    [1440, 900],
  ])('a notice at the start covers no control, at %i x %i', async (width, height) => {
    const warning =
      'Frame 3 (DSC_0003.JPG) is much darker than its neighbours, and the light of the flash was evened out. '.repeat(
        2,
      );
    page = await fixture.open({ viewport: { width, height } }, async (opening) => {
      await opening.route('**/api/result', async (route) => {
        const response = await route.fetch();
        await route.fulfill({
          response,
          json: { ...(await response.json()), warnings: [warning, 'Another.'] },
        });
      });
    });
    await page.getByRole('radio', { name: 'Frame' }).click();
    expect(await page.textContent('#status-text')).toContain(
      `${warning} One more warning is in report.html.`,
    );
    const covered = await page.evaluate(() => {
      const notice = document.querySelector('#notice')!;
      return [...document.querySelectorAll('.picture button, .picture input, .bar button, .bar input')]
        .filter((control) => !notice.contains(control) && (control as HTMLElement).offsetParent)
        .filter((control) => {
          const { left, top, width: w, height: h } = control.getBoundingClientRect();
          const found = document.elementFromPoint(left + w / 2, top + h / 2);
          return !(found && (control.contains(found) || found.contains(control)));
        })
        .map((control) => control.id || control.textContent);
    });
    expect(covered).toEqual([]);
    // It stays until it is closed.
    await page.getByRole('button', { name: 'Close this notice' }).click();
    expect(await page.isVisible('#notice')).toBe(false);
  });

  test('split begins with two different halves: the composite and the frame at the spot', async () => {
    page = await fixture.open();
    const record = await readRunRecord(fixture.out);
    const best = record.frames.reduce((a, b) => (b.sharePercent > a.sharePercent ? b : a)).number;
    const halves = async () => [await page.textContent('#half-left'), await page.textContent('#half-right')];
    await page.getByLabel('split').check();
    expect(await halves()).toEqual([expect.stringContaining(`frame ${best} · `), 'composite']);
    await page.getByLabel('split').uncheck();
    await page.mouse.move(...(await placeOf(page, 30, 20)));
    await expect.poll(() => page.textContent('#readout-now')).toMatch(/^x 30, y 20.*frame \d/);
    const [, atSpot] = /frame (\d+)/.exec((await page.textContent('#readout-now'))!)!;
    await page.getByLabel('split').check();
    expect(await halves()).toEqual([expect.stringContaining(`frame ${atSpot} · `), 'composite']);
    // Whatever is chosen on the right, the left is another one.
    await page.locator('#left').selectOption('depth');
    await page.getByRole('radio', { name: 'Depth' }).click();
    expect(await halves()).toEqual(['composite', 'depth']);
    await page.getByRole('radio', { name: 'Composite' }).click();
    expect((await halves())[0]).toMatch(/^frame \d/);
    expect(await page.locator('#left option[value=before]').count()).toBe(0);
  });

  test.each([
    [1440, 900],
    [400, 800],
  ])('the picture stays where it is while tools open, fill and close, at %i x %i', async (width, height) => {
    page = await fixture.open({ viewport: { width, height } });
    // What lies under one place of the window, told by the page itself.
    const [x, y] = await placeOf(page, 100, 70);
    const under = async (): Promise<string> => {
      await page.mouse.move(x + 1, y + 1);
      await page.mouse.move(x, y);
      await expect.poll(() => page.textContent('#readout-now')).toMatch(/^x 100, y 70 /);
      return (await page.locator('#canvas').boundingBox().then(JSON.stringify)) ?? '';
    };
    const before = await under();
    for (const name of ['Distance', 'Section', 'Mend']) {
      await tool(name);
      await under();
      await drag(page, [
        [80, 50],
        [150, 50],
        [150, 110],
        [80, 110],
        [81, 52],
      ]);
      await page.waitForSelector(
        { Distance: '#distance-main', Section: '.plot', Mend: 'button.crop' }[name]!,
      );
      await under();
    }
    await tool('Look');
    expect(await under()).toBe(before);
    await page.getByRole('radio', { name: 'Frame' }).click();
    await under();
  });

  test('one press shows the picture at 100 %', async () => {
    page = await fixture.open();
    await page.getByRole('button', { name: '100 %' }).click();
    expect(await page.textContent('#zoom-text')).toBe('100 %');
    const length = Number.parseFloat(await page.locator('#scale-line').evaluate((line) => line.style.width));
    // 240 px are 2.4 mm at the anchor's plane: at 100 % of a screen of ratio 1 so many px are 1 mm.
    expect(await page.textContent('#scale-text')).toBe(`${length / 100} mm at the anchor's plane`);
  });

  test('the readout is a polite live region whose changing part is hidden from it', async () => {
    page = await fixture.open();
    const region = page.locator('#readout');
    expect([await region.getAttribute('role'), await region.getAttribute('aria-live')]).toEqual([
      'status',
      'polite',
    ]);
    expect(await page.locator('#readout-now').getAttribute('aria-hidden')).toBe('true');
    await page.mouse.move(...(await placeOf(page, 120, 90)));
    await expect.poll(() => page.textContent('#readout-spoken')).toMatch(/^x 120, y 90 /);
    expect(await page.textContent('#readout-now')).toBe(await page.textContent('#readout-spoken'));
  });

  // axe-core by Deque (MPL-2.0), rules of WCAG 2.2 A and AA and its best practices.
  describe.each(['dark', 'light'] as const)('in %s nothing is amiss for axe-core', (colorScheme) => {
    test.each([
      [1440, 900],
      [400, 800],
    ])('at %i x %i', async (width, height) => {
      page = await fixture.open({ colorScheme, viewport: { width, height }, bypassCSP: true });
      await page.addScriptTag({ content: axe.source });
      const violations = () =>
        page.evaluate(async () => {
          const run = (globalThis as unknown as { axe: typeof axe }).axe.run;
          const found = await run(document, { resultTypes: ['violations'] });
          return found.violations.flatMap(({ id, nodes }) =>
            nodes.map((node) => `${id}: ${node.html.slice(0, 160)} ${node.failureSummary ?? ''}`),
          );
        });
      expect(await violations()).toEqual([]);
      await page.mouse.move(...(await placeOf(page, 120, 90)));
      await page.waitForSelector('#ruler .tick.spot', { state: 'attached' });
      for (const layer of ['Depth', 'Coverage', 'Frame']) {
        await page.getByRole('radio', { name: layer }).click();
        expect(await violations()).toEqual([]);
      }
      await page.getByLabel('split').check();
      expect(await violations()).toEqual([]);
      await page.getByLabel('split').uncheck();
      for (const name of ['Distance', 'Section', 'Mend']) {
        await tool(name);
        await drag(page, [
          [80, 50],
          [150, 50],
          [150, 110],
          [80, 110],
          [81, 52],
        ]);
        await page.waitForSelector(
          { Distance: '#distance-main', Section: '.plot', Mend: 'button.crop' }[name]!,
        );
        if (name === 'Mend') {
          await page.locator('button.crop[data-frame]').first().click();
          await page.waitForSelector('.mends li');
        }
        expect(await violations()).toEqual([]);
      }
      await page.getByRole('button', { name: 'Keys' }).click();
      expect(await violations()).toEqual([]);
    });
  });
});

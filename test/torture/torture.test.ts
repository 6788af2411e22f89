import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Fixtures, makeFixtures } from './fixtures.js';
import { tortureInputs } from './inputs.js';
import { tortureKills } from './kills.js';
import { torturePage } from './page.js';
import type { TortureOptions } from './tally.js';

// A few cases of each kind; `npm run torture` tries them by the hundred.
let fixtures: Fixtures;
beforeAll(async () => {
  fixtures = await makeFixtures();
});
afterAll(() => fixtures.remove());

function few(count: number): TortureOptions {
  return { seed: 20, from: 0, count, untilMs: Number.POSITIVE_INFINITY, log: () => undefined };
}

describe.skipIf(process.platform !== 'linux')('under torture', () => {
  test('bad inputs of every kind end with a message and change nothing', async () => {
    const { tried, wrong } = await tortureInputs(fixtures, few(10));
    expect(wrong).toEqual([]);
    expect(tried).toBe(10);
  }, 400_000);

  test('hostile requests are refused and the page goes on', async () => {
    const { tried, wrong } = await torturePage(fixtures, few(40));
    expect(wrong).toEqual([]);
    expect(tried).toBe(40);
  }, 200_000);

  test('kills of every command leave the old result or the new one', async () => {
    const { tried, wrong } = await tortureKills(fixtures, few(3));
    expect(wrong).toEqual([]);
    expect(tried).toBe(3);
  }, 400_000);
});

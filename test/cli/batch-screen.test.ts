import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import type { BatchEvent } from '../../src/batch/batch-events.js';
import type { PlannedStack } from '../../src/batch/night-events.js';
import { openBatchScreen } from '../../src/cli/batch-screen.js';
import { openReadingLine } from '../../src/cli/frame-progress.js';
import { fakeSystem, Recorder } from './fake-system.js';
import { screenAfter } from './screen.js';

// Bars are drawn by the clock: a fake one shows each of them.
beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

const planned = {
  ...{ stack: 'monday/bee', frames: 40, size: { width: 6000, height: 4000 }, estimateMs: 60_000 },
} as PlannedStack;

const events: BatchEvent[] = [
  { event: 'begin', planned, ordinal: 1, total: 4 },
  { event: 'whole', isNews: false, done: 1, look: 0, failed: 1, total: 4, leftMs: 90_000 },
  {
    event: 'merge',
    stack: 'monday/bee',
    elapsedMs: 30_000,
    merge: { event: 'progress', stage: 'blend', done: 20, frames: 40, megapixelsPerS: 85, leftS: 10 },
  },
];

/** What a terminal of `columns` shows once the events have come, and once the screen is closed. */
function shown(columns: number): { during: string[]; after: string[] } {
  const system = fakeSystem(undefined, columns);
  const screen = openBatchScreen(system, { json: false, quiet: false });
  for (const event of events) screen.onEvent(event);
  vi.advanceTimersByTime(1000);
  const during = screenAfter(system.stderr.text);
  screen.close();
  return { during, after: screenAfter(system.stderr.text) };
}

describe('a batch on a terminal', () => {
  it('shows a bar for each stack in work and one for the whole', () => {
    const { during } = shown(120);
    expect(during).toContain('[1/4] monday/bee: 40 frames of 6000 x 4000 pixels, about 1 min 0 s');
    const bar = `[${'='.repeat(23)}${' '.repeat(7)}]`;
    expect(during).toContain(`monday/bee: blending ${bar} 75 %, 10 s left`);
    const half = `[${'='.repeat(15)}${' '.repeat(15)}]`;
    expect(during).toContain(`Batch ${half} 1 of 4 stacks done, 1 failed, about 1 min 30 s left`);
  });

  it('cuts its lines where they have no room, and leaves none behind', () => {
    const { during, after } = shown(40);
    expect(Math.max(...during.slice(1).map((line) => line.length))).toBeLessThan(40);
    expect(during.join('\n')).toContain('monday/bee: blending 75 %, 10 s left');
    expect(after.filter((line) => line !== '')).toEqual([
      '[1/4] monday/bee: 40 frames of 6000 x 4000 pixels, about 1 min 0 s',
    ]);
  });
});

describe('the reading of frames', () => {
  it('shows a bar on a terminal and wipes it at the end, or when it is given up', () => {
    for (const end of [40, 10]) {
      const stream = new Recorder(80);
      const line = openReadingLine(stream);
      line.onProgress(5, 40);
      line.onProgress(10, 40);
      vi.advanceTimersByTime(500);
      expect(screenAfter(stream.text)).toEqual([
        `Reading frames [${'='.repeat(8)}${' '.repeat(22)}] 10 of 40`,
      ]);
      line.onProgress(end, 40);
      line.close();
      expect(screenAfter(stream.text)).toEqual(['']);
    }
  });

  it('says nothing elsewhere', () => {
    const stream = new Recorder();
    const line = openReadingLine(stream);
    line.onProgress(1, 2);
    line.onProgress(2, 2);
    line.close();
    expect(stream.text).toBe('');
  });
});

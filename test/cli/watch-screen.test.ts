import { setTimeout as wait } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { openWatchScreen } from '../../src/cli/watch-screen.js';
import type { SubjectCoverage, WatchEvent } from '../../src/watch/watch-events.js';
import { coverageText } from '../../src/watch/watch-text.js';
import { fakeSystem } from './fake-system.js';

const frame: WatchEvent & { event: 'frame' } = {
  ...{ event: 'frame', frames: 7, waitMs: 400, number: 7, name: '0007.jpg', isGood: true },
  ...{ positionSteps: 6.03, positionMm: null, part: 'lower centre', centre: { x: 0.5, y: 0.8 } },
  ...{ sharpestPercent: 30, stepSteps: 1.12, stepMm: null, plannedStepMm: null, isShaken: false, light: 1 },
  ...{ burntPercent: 0, blockedPercent: 0 },
  ...{ coveredPercent: 63, framesToGo: 14, framesToGoBy: 'pictures', isLeastToGo: false },
  isComplete: false,
};
const finding: WatchEvent = {
  event: 'finding',
  isNew: true,
  finding: {
    ...{ kind: 'missed-step', rank: 'spoils', frames: [6, 7], files: ['0006.jpg', '0007.jpg'] },
    message: 'From frame 6 to 7 the plane of focus went about 2 times as far as usual: a step was missed.',
    advice: 'Add a frame between 6 and 7, or shoot from frame 6 on again.',
  },
};

test('says of a frame where it is, how its step was and where it is sharp, in a line', () => {
  const system = fakeSystem();
  openWatchScreen(system, { json: false, tone: false }).onEvent(frame);
  expect(system.stdout.text).toBe('Frame 7 (0007.jpg): at 6 steps; step as usual; sharp at lower centre\n');
  openWatchScreen(system, { json: false, tone: false }).onEvent({ ...frame, isGood: false, stepSteps: 1.9 });
  expect(system.stdout.text).toContain('! Frame 7 (0007.jpg): at 6 steps; step 1.9 times the usual; ');
});

test('breaks lines at blanks, within the width of the terminal', () => {
  const system = fakeSystem();
  Object.assign(system.stdout, { columns: 60 });
  const screen = openWatchScreen(system, { json: false, tone: false });
  for (const event of [frame, finding]) screen.onEvent(event);
  const lines = system.stdout.text.trimEnd().split('\n');
  expect(Math.max(...lines.map(({ length }) => length))).toBeLessThan(60);
  const words = (text: string) => text.split(/\s+/).join(' ').trim();
  expect(words(lines.join(' '))).toContain(
    words((finding as { finding: { message: string } }).finding.message),
  );
  expect(lines.filter((line) => /^ {6}\S/.test(line)).length).toBeGreaterThan(0);
});

test('rings once for a good frame and three times for one with a fault, if wished and on a terminal', async () => {
  const ringsOf = async (event: WatchEvent, tone: boolean, isTTY: boolean) => {
    const system = fakeSystem();
    Object.assign(system.stderr, { isTTY });
    const screen = openWatchScreen(system, { json: true, tone });
    screen.onEvent(event);
    await wait(700);
    return system.stderr.text.split('\x07').length - 1;
  };
  const bad = { ...frame, isGood: false };
  const cases = [
    ringsOf(frame, true, true),
    ringsOf(bad, true, true),
    ringsOf(finding, true, true),
    ringsOf(bad, false, true),
    ringsOf(bad, true, false),
  ];
  expect(await Promise.all(cases)).toEqual([1, 3, 0, 0, 0]);
});

test('says how many frames are to go, and whether that is all that is known of it', () => {
  const shown = (given: Partial<typeof frame>) => coverageText({ ...frame, ...given } as SubjectCoverage);
  expect(shown({})).toBe('about 14 to go by the pictures; 63 % of the detail seen is covered');
  expect(shown({ framesToGo: 3, isLeastToGo: true })).toMatch(/^at least 3 to go by the pictures; /);
  expect(shown({ framesToGo: 3, framesToGoBy: 'plan' })).toMatch(/^about 3 to go; /);
  expect(shown({ framesToGo: null, framesToGoBy: null, isComplete: true })).toBe(
    'nothing more is coming into focus; 63 % of the detail seen is covered',
  );
});

test('ends with the verdict, and with all that spoils the picture once more', () => {
  const system = fakeSystem();
  const { finding: found } = finding as WatchEvent & { event: 'finding' };
  const end: WatchEvent = { event: 'end', frames: 7, fit: false, findings: [found] };
  openWatchScreen(system, { json: false, tone: false }).onEvent(end);
  expect(system.stdout.text).toMatch(/^7 frames\. Not fit to merge.*\n {2}spoils: From frame 6 to 7 /);
});

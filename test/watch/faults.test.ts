import { beforeAll, expect, test } from 'vitest';
import { type PlainStack, plainStack } from '../quality/faults/plain-stack.js';
import type { FaultName } from '../quality/faults/plan-fault.js';
import { watchFault } from '../quality/faults/watch-fault.js';

let plain: PlainStack;
beforeAll(async () => {
  plain = await plainStack('tilted-plane', 1, { width: 320, height: 240, frames: 16 });
});

/** `npm run quality -- --watch` has all of the table, in scenes with room for dust and hot pixels. */
const faults: FaultName[] = [
  'missed step',
  'step not taken',
  'shaken frame',
  'flicker',
  'too-coarse steps',
  'short in front',
  'short behind',
  'bump',
  'burnt highlights',
  'duplicate',
  'time gap',
  'mixed sizes',
  'exposure in EXIF',
  'camera in EXIF',
];

test.each(faults)('%s is named at the frame at which it can be known, or the next', async (fault) => {
  const { knownAt, namedAt, strays } = await watchFault(plain, fault, 1);
  expect(namedAt).toBeLessThanOrEqual(knownAt + 1);
  expect(strays).toEqual([]);
});

test('a clean stack raises no alarm at any frame', async () => {
  const { strays, takenBack } = await watchFault(plain, 'none', 1);
  expect([...strays, ...takenBack]).toEqual([]);
});

import { join } from 'node:path';
import { expect, it } from 'vitest';
import { readNightList } from '../../src/batch/night-list.js';
import { nightState } from '../../src/batch/night-state.js';
import { makeFolder } from '../stack/pictures.js';
import { batchHere, startStandIn } from './in-process.js';
import { runBatchProgram } from './program.js';
import { namesIn, placeFrames, renderTiny } from './tiny-stacks.js';

const count = 200;

/** With LAMELLA_WHOLE_NIGHT set every stack is merged in its process: minutes instead of seconds. */
const isWhole = process.env.LAMELLA_WHOLE_NIGHT !== undefined;

it(`${count} tiny stacks in one night are all merged, in a state that the next start knows`, async () => {
  const frames = await renderTiny();
  const root = join(makeFolder(), 'week');
  const out = join(makeFolder(), 'out');
  for (let i = 0; i < count; i++) placeFrames(join(root, `day ${i % 7}`, `stack ${i}`), frames, 1 + (i % 3));
  if (isWhole) {
    const { code, stderr } = await runBatchProgram([root, '--out', out]);
    expect(code, stderr).toBe(0);
  } else {
    const told = await batchHere(root, { out, merge: { threads: 2 } }, { startStack: startStandIn });
    expect([told.done, told.failed]).toEqual([count, 0]);
  }
  expect(namesIn(out).filter((name) => name.startsWith('day'))).toHaveLength(count);
  const events = (await readNightList(out)) ?? [];
  expect(events.filter(({ event }) => event === 'done')).toHaveLength(count);
  expect([...nightState(events).stacks.values()].every(({ state }) => state === 'done')).toBe(true);
  expect((await batchHere(root, { out, merge: { threads: 2 } }, { startStack: startStandIn })).begun).toEqual(
    [],
  );
}, 1_200_000);

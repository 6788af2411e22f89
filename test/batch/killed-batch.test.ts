import { readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as delay } from 'node:timers/promises';
import { beforeAll, describe, expect, it } from 'vitest';
import { readNightList } from '../../src/batch/night-list.js';
import { seededRandom } from '../outside/seeded-random.js';
import { makeFolder } from '../stack/pictures.js';
import { childrenOf, runBatchProgram, startBatch, waitFor } from './program.js';
import { namesIn, placeFrames, renderTiny, resultBytes } from './tiny-stacks.js';

/** Files that are not the same in two batch folders. */
function differences(out: string, other: string): string[] {
  const [first, second] = [resultBytes(out), resultBytes(other)];
  const names = new Set([...Object.keys(first), ...Object.keys(second)]);
  return [...names].filter((name) => first[name] !== second[name]);
}

const kills = 20;
/** A run takes longer than this, so that most kills hit it. */
const longestMs = 1500;

/** Three stacks, and two. */
let root: string;
let pair: string;

beforeAll(async () => {
  const frames = await renderTiny();
  root = join(makeFolder(), 'week');
  pair = join(makeFolder(), 'pair');
  for (const name of ['ant', 'bee']) placeFrames(join(pair, name), frames, 1);
  placeFrames(join(root, 'ant'), frames, 1);
  placeFrames(join(root, 'monday', 'bee'), frames, 2);
  placeFrames(join(root, 'monday', 'wasp'), frames, 1, 4);
});

describe.skipIf(process.platform !== 'linux')('a batch that is killed', () => {
  it(`by kill -9 at ${kills} random instants ends with the bytes of an undisturbed one`, async () => {
    const calm = join(makeFolder(), 'calm');
    const args = (out: string) => [root, '--out', out, '--threads', '1', '--json'];
    const undisturbed = await runBatchProgram(args(calm));
    expect(undisturbed.code, undisturbed.stdout + undisturbed.stderr).toBe(0);

    const random = seededRandom(5);
    let out = join(makeFolder(), 'killed');
    let killed = 0;
    let rounds = 0;
    for (let i = 0; i < kills; i++) {
      const running = startBatch(args(out));
      await Promise.race([delay(random() * longestMs), running.ended]);
      running.child.kill('SIGKILL');
      const { signal, code } = await running.ended;
      if (signal === 'SIGKILL') killed++;
      else expect(code).toBe(0);
      if (signal === null) {
        // Complete: the rest of the kills is for another night.
        expect(differences(out, calm)).toEqual([]);
        out = join(makeFolder(), `killed-${++rounds}`);
      }
    }
    expect(killed).toBeGreaterThan(kills / 2);

    const last = await runBatchProgram(args(out));
    expect(last.code).toBe(0);
    expect(differences(out, calm)).toEqual([]);
    // A lock that was killed before its first byte says nothing of its holder, and stays until it is ten seconds old.
    const isUnborn = (name: string) =>
      /^\.lamella-batch\.lock\.[0-9a-f]{16}$/.test(name) && statSync(join(out, name)).size === 0;
    expect(namesIn(out).filter((name) => !isUnborn(name))).toEqual(namesIn(calm));
    // At most the stack in work is lost: what the list says was done was never done again.
    const done = ((await readNightList(out)) ?? []).flatMap((event) =>
      event.event === 'done' ? [event.stack] : [],
    );
    expect([...done].sort()).toEqual(['ant', 'monday/bee', 'monday/wasp']);
  });

  it('leaves no process behind', async () => {
    const out = join(makeFolder(), 'out');
    const running = startBatch([pair, '--out', out, '--threads', '1']);
    const [merging] = await waitFor(running, () => {
      const children = childrenOf(running.child.pid!);
      return children.length > 0 ? children : undefined;
    });
    running.child.kill('SIGKILL');
    await running.ended;
    for (;;) {
      try {
        process.kill(merging, 0);
        if (readFileSync(`/proc/${merging}/stat`, 'utf8').includes(') Z ')) break;
      } catch {
        break;
      }
      await delay(20);
    }
  });

  it('by Ctrl-C ends its stack, keeps what is finished, exits with 130, and goes on later', async () => {
    const out = join(makeFolder(), 'out');
    const running = startBatch([pair, '--out', out, '--threads', '1']);
    await waitFor(running, () => (running.stderr().includes('[2/2]') ? true : undefined));
    running.child.kill('SIGINT');
    const { code, stderr } = await running.ended;
    expect(code).toBe(130);
    expect(stderr).toContain('finished stacks are kept');
    expect(namesIn(out).filter((name) => name.startsWith('.'))).toEqual([]);
    const again = await runBatchProgram([pair, '--out', out, '--threads', '1']);
    expect(again.code).toBe(0);
    expect(again.stderr).toContain('1 stack to merge, 1 finished before');
  });

  it('loses only the stack whose process dies', async () => {
    const out = join(makeFolder(), 'out');
    const running = startBatch([pair, '--out', out, '--threads', '1']);
    const [merging] = await waitFor(running, () => {
      const children = childrenOf(running.child.pid!);
      return children.length > 0 ? children : undefined;
    });
    process.kill(merging, 'SIGKILL');
    const { code, stderr } = await running.ended;
    expect(code).toBe(1);
    expect(stderr).toContain('ant: FAILED: Its process was killed from outside (SIGKILL)');
    expect(stderr).toMatch(/1 of 2 stacks done( \(1 to look at\))?, 1 failed/);
    expect(namesIn(out).filter((name) => name.startsWith('.'))).toEqual([]);

    const retried = await runBatchProgram([pair, '--out', out, '--threads', '1', '--retry']);
    expect(retried.code).toBe(0);
    expect(retried.stderr).toContain('1 stack to merge');
    expect(retried.stderr).toMatch(/ant: (done|merged, but look)/);
  });

  it('is refused a second time while it runs, and its state can be read', async () => {
    const out = join(makeFolder(), 'out');
    const first = startBatch([pair, '--out', out, '--threads', '1']);
    await waitFor(first, () => (first.stderr().includes('[1/2]') ? true : undefined));
    const [second, status] = await Promise.all([
      runBatchProgram([pair, '--out', out]),
      runBatchProgram(['--status', out]),
    ]);
    expect(second.code).toBe(4);
    expect(second.stderr).toMatch(
      new RegExp(`already runs on .*: process ${first.child.pid} .*, started 20`),
    );
    expect(status.code).toBe(0);
    expect(status.stdout).toMatch(new RegExp(`^Running: process ${first.child.pid} `));
    expect(status.stdout).toContain('of 2 stacks merged');
    expect((await first.ended).code).toBe(0);
    expect((await runBatchProgram(['--status', out])).stdout).toMatch(/2 of 2 stacks merged.*, 0 failed\./);
  });
});

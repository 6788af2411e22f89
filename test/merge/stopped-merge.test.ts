import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, readdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { beforeAll, describe, expect, it } from 'vitest';
import { InterruptedError } from '../../src/errors.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeStage } from '../../src/merge/merge-event.js';
import { readResult } from '../../src/result/read-result.js';
import { type Files, placeStack, readFiles, renderPlane } from './small-stack.js';

const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));
let files: Files;

beforeAll(async () => {
  ({ files } = await renderPlane({ format: 'jpg' }));
});

/** A merge that is aborted when it reports progress in a stage; what it rejects with. */
async function abortIn(stage: MergeStage, folder: string, out: string): Promise<unknown> {
  const control = new AbortController();
  const onEvent = (event: { event: string; stage?: MergeStage }) => {
    if (event.event === 'progress' && event.stage === stage) control.abort();
  };
  return merge(folder, { out, threads: 2, overwrite: true }, { signal: control.signal, onEvent }).catch(
    (error) => error,
  );
}

describe('a merge that is aborted', () => {
  it.each(['register', 'focus', 'blend', 'write'] as const)(
    'during %s leaves nothing behind',
    async (stage) => {
      const { parent, frames, out } = placeStack(files);
      expect(await abortIn(stage, frames, out)).toBeInstanceOf(InterruptedError);
      expect(readdirSync(parent)).toEqual(['frames']);
      expect(readFiles(frames)).toEqual(files);
    },
  );

  it('before its start does nothing', async () => {
    const { parent, frames, out } = placeStack(files);
    const failure = await merge(frames, { out }, { signal: AbortSignal.abort() }).catch((error) => error);
    expect(failure).toBeInstanceOf(InterruptedError);
    expect(readdirSync(parent)).toEqual(['frames']);
  });

  it('while it replaces a result leaves that result as it was', async () => {
    const { parent, frames, out } = placeStack(files);
    await merge(frames, { out, threads: 2 });
    const before = readFiles(out);
    expect(await abortIn('blend', frames, out)).toBeInstanceOf(InterruptedError);
    expect(readFiles(out)).toEqual(before);
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
  });
});

/** The program, and the lines it prints until one names the event `stage` with that stage. */
async function startUntil(stage: MergeStage, folder: string, out: string) {
  const args = [program, 'merge', folder, '--out', out, '--threads', '2', '--json'];
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'ignore'] });
  let heard = '';
  for await (const chunk of child.stdout) {
    heard += chunk;
    if (heard.includes(`{"event":"stage","stage":"${stage}"`)) break;
  }
  return child;
}

describe('a program that is killed at work', () => {
  it('leaves no result, and the next run succeeds and tidies up', async () => {
    const { parent, frames, out } = placeStack(files);
    const child = await startUntil('focus', frames, out);
    child.kill('SIGKILL');
    if (child.signalCode === null && child.exitCode === null) await once(child, 'exit');
    expect(child.signalCode).toBe('SIGKILL');
    expect(existsSync(out)).toBe(false);
    // What it had begun is hidden, and named so that the next run knows it.
    expect(readdirSync(parent).sort()).toEqual([
      expect.stringMatching(/^\.merged\.lamella-partial-/),
      'frames',
    ]);

    await merge(frames, { out, threads: 2 });
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
    expect((await readResult(out)).record.frames.every(({ used }) => used)).toBe(true);
    expect(readFiles(frames)).toEqual(files);
  });
});

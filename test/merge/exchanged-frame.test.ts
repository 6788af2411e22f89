import {
  copyFileSync,
  existsSync,
  readdirSync,
  renameSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { merge } from '../../src/mend/merge.js';
import type { MergeStage } from '../../src/merge/merge-event.js';
import { ChangedFrameError } from '../../src/stack/frame-identity.js';
import { type Files, placeStack, renderPlane } from './small-stack.js';

let files: Files;
beforeAll(async () => {
  ({ files } = await renderPlane({ frames: 4 }));
});

const changes: Record<string, (path: string, name: string) => void> = {
  'written anew': (path, name) => writeFileSync(path, otherThan(name)),
  'put in its place under the old size and time': (path, name) => {
    const { atime, mtime, size } = statSync(path);
    const aside = `${path}.aside`;
    writeFileSync(aside, Buffer.concat([otherThan(name), Buffer.alloc(size)]).subarray(0, size));
    utimesSync(aside, atime, mtime);
    renameSync(aside, path);
  },
  'put in its place, the same picture': (path) => {
    copyFileSync(path, `${path}.aside`);
    renameSync(`${path}.aside`, path);
  },
  removed: (path) => rmSync(path),
};

/** Another frame of the stack. */
function otherThan(name: string): Buffer {
  return Object.entries(files).find(([other]) => other !== name)![1];
}

const stages: MergeStage[] = ['register', 'focus', 'surface', 'blend', 'write'];
const hardest = 'put in its place under the old size and time';
const cases = [
  ...stages.map((stage) => ({ stage, change: hardest })),
  ...Object.keys(changes).flatMap((change) => (change === hardest ? [] : [{ stage: 'focus', change }])),
];

describe('a frame that is exchanged while a merge runs', () => {
  it.each(cases)('$change in the stage $stage, ends it with nothing written', async ({ stage, change }) => {
    const { parent, frames, out } = placeStack(files);
    const name = Object.keys(files)[2];
    const merged = merge(
      frames,
      { out, threads: 1 },
      {
        onEvent(event) {
          if (event.event === 'stage' && event.stage === stage) changes[change](join(frames, name), name);
        },
      },
    );
    const refusal = await merged.catch((error: unknown) => error);
    expect(refusal).toBeInstanceOf(ChangedFrameError);
    expect(String(refusal)).toContain(name);
    expect(existsSync(out)).toBe(false);
    expect(readdirSync(parent)).toEqual(['frames']);
  });
});

import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { readStatus, statusLines } from '../../src/batch/night-status.js';
import type { StartStack } from '../../src/batch/stack-job.js';
import { runCli } from '../../src/cli/run.js';
import type { Finding } from '../../src/result/finding.js';
import { fakeSystem } from '../cli/fake-system.js';
import { makeFolder } from '../stack/pictures.js';
import { batchHere, startStandIn } from './in-process.js';
import { placeFrames, renderTiny } from './tiny-stacks.js';

let frames: Record<string, Buffer>;
beforeAll(async () => {
  frames = await renderTiny();
});

const uncovered: Finding = {
  ...{ kind: 'too-short-behind', rank: 'spoils', frames: [3], advice: 'Go on.' },
  message: '51 % is sharp in no frame.',
};
const fewFrames: Finding = { ...uncovered, kind: 'few-frames', message: 'Only 3 of 5 photographs went in.' };

/** A merge that finds this of stacks whose names begin with b. */
function startFinding(finding: Finding): StartStack {
  return (job, onEvent) => {
    const run = startStandIn(job, onEvent);
    const ended = run.ended.then((end) =>
      end.state === 'done' && /[\\/]b\w+$/.test(job.folder)
        ? { ...end, report: { ...end.report, findings: [finding] } }
        : end,
    );
    return { ...run, ended };
  };
}

async function night(finding: Finding) {
  const place = makeFolder();
  const [root, out] = [join(place, 'week'), join(place, 'out')];
  for (const name of ['ant', 'bee']) placeFrames(join(root, name), frames);
  const told = await batchHere(root, { out }, { startStack: startFinding(finding) });
  const system = fakeSystem();
  const exitCode = await runCli(['batch', '--status', out], '1.2.3', system);
  return { told, out, exitCode, stdout: system.stdout.text };
}

describe('a stack that is merged, but whose picture something spoils', () => {
  it('is counted apart in the outcome, the end and the status, and named with what spoils it', async () => {
    const { told, out, exitCode, stdout } = await night(uncovered);
    expect(told).toMatchObject({ state: 'done', done: 2, look: 1, incomplete: 0, failed: 0 });
    const end = told.events.find(({ event }) => event === 'end');
    expect(end).toMatchObject({ reason: expect.stringContaining('2 stacks merged (1 of them to look at)') });
    const status = await readStatus(out);
    expect(status.counts).toMatchObject({ done: 2, look: 1, incomplete: 0 });
    expect(statusLines(status)).toContain('bee: merged, but look: 51 % is sharp in no frame.');
    expect(stdout).toContain('2 of 2 stacks merged (1 of them to look at), 0 failed.');
    expect(exitCode).toBe(0);
  });

  it('is no success where more than a fifth of the frames is left out: exit code 6', async () => {
    const { told, exitCode } = await night(fewFrames);
    expect(told).toMatchObject({ done: 2, look: 1, incomplete: 1 });
    expect(exitCode).toBe(6);
  });
});

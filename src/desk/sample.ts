import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { rename, rm } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { optionFlag } from '../options/option-flag.js';
import { systemCode } from '../result/output-failure.js';
import type { JobOrder, JobRun } from './job-table.js';
import { settingsFolder } from './kept-plan.js';

const program = fileURLToPath(new URL('../../', import.meta.url));
const renderer = join(program, 'dist/rendering/samples/render.js');

/** Where the sample stack lies, or goes, and how large it is. */
export interface Sample {
  /** Holds `frames` and `truth`. */
  folder: string;
  /** Of its photographs, px; absent: the scene's own. */
  size?: { width: number; height: number };
}

/**
 * The sample stack: in a clone where `npm start` puts it; for an installed program, whose own folder may not be written to
 * and goes with the next version, beside the user's settings.
 */
export const standardSample: Sample = {
  folder: existsSync(join(program, 'samples'))
    ? join(program, '.cache/sample')
    : join(settingsFolder(), 'sample'),
};

/** The folder of the sample's frames; null where it has yet to be rendered. */
export function samplePlace({ folder }: Sample): string | null {
  const frames = join(folder, 'frames');
  return existsSync(frames) ? frames : null;
}

/** What its renderer says of a stack; undefined for a folder that was not rendered. */
export function sceneFile(folder: string): string | undefined {
  if (basename(folder) !== 'frames') return undefined;
  const file = join(dirname(folder), 'truth/scene.json');
  return existsSync(file) ? file : undefined;
}

const title = 'Sample stack';

/** A stack as people call it: the name of its folder. */
export function stackTitle(folder: string): string {
  return sceneFile(folder) === undefined ? basename(folder) : title;
}

/** Renders the sample stack in a process of its own. */
export function renderSample(sample: Sample): JobOrder {
  return {
    ...{ kind: 'sample', title, folder: join(sample.folder, 'frames'), lane: 'sample' },
    begin: (change) => beginRendering(sample, change),
  };
}

function beginRendering({ folder, size }: Sample, change: Parameters<JobOrder['begin']>[0]): JobRun {
  change({ stage: 'Rendering the sample stack' });
  // Under another name until it is whole: an interrupted rendering must not pass for the stack.
  const unfinished = `${folder}.unfinished-${process.pid}`;
  const sizeOptions = size
    ? [optionFlag('width'), String(size.width), optionFlag('height'), String(size.height)]
    : [];
  const child = spawn(process.execPath, [renderer, 'seed-head', unfinished, ...sizeOptions], {
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let stopped = false;
  let said = '';
  const startedMs = performance.now();
  const hear = (chunk: Buffer): void => {
    said = (said + chunk.toString()).slice(-2000);
    const [, done, all] = [...said.matchAll(/frame (\d+) of (\d+)/g)].at(-1) ?? [];
    if (done === undefined) return;
    const share = Number(done) / Number(all);
    change({ share, leftS: ((performance.now() - startedMs) / 1000) * (1 / share - 1) });
  };
  child.stdout.on('data', hear);
  child.stderr.on('data', hear);
  const closed = new Promise<number | null>((resolve) => {
    child.once('error', () => resolve(null));
    child.once('close', resolve);
  });
  const finish = async () => {
    const code = await closed;
    try {
      if (stopped) return { state: 'cancelled' } as const;
      if (code !== 0) {
        const message = `The sample stack could not be rendered: ${said.trim().split('\n').at(-1)}`;
        return { state: 'failed', message } as const;
      }
      await rename(unfinished, folder).catch((error: unknown) => {
        // Another desk was faster.
        if (!['ENOTEMPTY', 'EEXIST', 'EPERM'].includes(systemCode(error) ?? '')) throw error;
      });
      return { state: 'done' } as const;
    } catch (error) {
      const reason = error instanceof Error ? error.message : String(error);
      return { state: 'failed', message: `The sample stack could not be kept: ${reason}.` } as const;
    } finally {
      await rm(unfinished, { recursive: true, force: true }).catch(() => undefined);
    }
  };
  return {
    ended: finish(),
    stop() {
      stopped = true;
      child.kill();
    },
  };
}

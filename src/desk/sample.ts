import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { rename, rm } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { systemCode } from '../result/output-failure.js';
import type { JobOrder } from './job-table.js';

const program = fileURLToPath(new URL('../../', import.meta.url));
/** Where `npm start` puts the sample stack. */
export const sampleFolder = join(program, '.cache/sample');
export const framesFolder = join(sampleFolder, 'frames');
const renderer = join(program, 'samples/render.ts');
/** Runs TypeScript. */
const loader = join(program, 'node_modules/tsx/dist/cli.mjs');

/** The folder of the sample's frames; null where it has yet to be rendered, undefined where it cannot be. */
export async function samplePlace(): Promise<string | null | undefined> {
  if (existsSync(framesFolder)) return framesFolder;
  return existsSync(renderer) && existsSync(loader) ? null : undefined;
}

/** A stack as people call it: the name of its folder. */
export function stackTitle(folder: string): string {
  return folder === framesFolder ? renderSample.title : basename(folder);
}

/** Renders the sample stack in a process of its own. */
export const renderSample: JobOrder = {
  kind: 'sample',
  title: 'Sample stack',
  folder: framesFolder,
  lane: 'sample',
  begin(change) {
    change({ stage: 'Rendering the sample stack' });
    // Under another name until it is whole: an interrupted rendering must not pass for the stack.
    const unfinished = `${sampleFolder}.unfinished-${process.pid}`;
    const child = spawn(process.execPath, [loader, renderer, 'seed-head', unfinished], {
      cwd: program,
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
        await rename(unfinished, sampleFolder).catch((error: unknown) => {
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
  },
};

import { spawn } from 'node:child_process';
import { readFile } from 'node:fs/promises';

/** What a process took, from its start to its end. */
export interface ProcessUse {
  wallS: number;
  /** Largest resident memory; NaN where the system does not tell. */
  peakMiB: number;
  /** Processor time of all threads; NaN where the system does not tell. */
  cpuS: number;
}

/** Runs a program to its end. Throws with its words when it fails. */
export async function runWatched(program: string, args: readonly string[]): Promise<ProcessUse> {
  const started = performance.now();
  const child = spawn(program, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  let words = '';
  // Read so that a full pipe does not hold up the program.
  child.stdout.resume();
  child.stderr.setEncoding('utf8').on('data', (text: string) => {
    words += text;
  });
  let use = { peakMiB: Number.NaN, cpuS: Number.NaN };
  // The system keeps maximum and sum itself, so only what the last 50 ms add is lost.
  const watch = setInterval(async () => {
    use = (await readUse(child.pid)) ?? use;
  }, 50);
  const code = await new Promise<number | null>((resolve, reject) => {
    child.once('error', reject);
    child.once('close', resolve);
  }).finally(() => clearInterval(watch));
  const wallS = (performance.now() - started) / 1000;
  if (code !== 0) throw new Error(`${program} ${args.join(' ')} ended with ${code}:\n${words}`);
  return { wallS, ...use };
}

/**
 * The high-water mark of a process's resident set and its processor time so far (proc(5): VmHWM in status;
 * utime and stime in stat, in ticks of 1/100 s). Undefined where there is no such process or no such file.
 */
async function readUse(pid: number | undefined): Promise<{ peakMiB: number; cpuS: number } | undefined> {
  const read = (name: string) => readFile(`/proc/${pid}/${name}`, 'utf8').catch(() => '');
  const [status, stat] = await Promise.all([read('status'), read('stat')]);
  const kiB = /^VmHWM:\s+(\d+) kB$/m.exec(status)?.[1];
  // Fields count from the end of the name, which may hold spaces and brackets itself.
  const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
  if (kiB === undefined || fields.length < 13) return undefined;
  return { peakMiB: Number(kiB) / 1024, cpuS: (Number(fields[11]) + Number(fields[12])) / 100 };
}

import { type ChildProcess, fork } from 'node:child_process';
import { readFile } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import type { MergeEvent } from '../merge/merge-event.js';
import { optionName, optionsAreFields } from '../option-names.js';
import {
  flagsArgument,
  type StackCommand,
  type StackEnd,
  type StackJob,
  type StackMessage,
  type StackPicture,
  type StackRun,
} from './stack-job.js';

const childFile = fileURLToPath(new URL('../../dist/bundles/stack-child.js', import.meta.url));

/** How often the memory of a stack is looked at: a small one is merged in less than half a second. */
const memoryCheckMs = 50;

/** A process that was asked to stop and still lives after this time is ended. */
const killMs = 550;

/** What is kept of the end of a process's error output, characters. */
const maxTailLength = 4000;

/** Merges a stack in a process of its own, so that whatever happens to it happens to this stack alone. */
export function startStackProcess(
  job: StackJob,
  onEvent: (event: MergeEvent) => void,
  onPicture?: (picture: StackPicture) => void,
): StackRun {
  const child = fork(childFile, optionsAreFields() ? [] : [flagsArgument], {
    stdio: ['ignore', 'ignore', 'pipe', 'ipc'],
  });
  let stopping = false;
  let tooLargeMb: number | undefined;
  let tail = '';
  let reported: StackEnd | undefined;
  child.stderr?.on('data', (chunk: Buffer) => {
    tail = (tail + chunk.toString()).slice(-maxTailLength);
  });
  child.on('message', (message: StackMessage) => {
    if (message.type === 'event') onEvent(message.event);
    else if (message.type === 'picture') onPicture?.(message.picture);
    else reported = message.end;
  });
  const memoryWatch = watchMemory(child, job.memoryLimitMb, (memoryMb) => {
    tooLargeMb = memoryMb;
    child.kill('SIGKILL');
  });
  const ended = new Promise<StackEnd>((resolve) => {
    child.once('error', (error) => {
      if (child.pid !== undefined) return;
      resolve({ state: 'failed', kind: 'crash', reason: `Its process cannot be started: ${error.message}.` });
    });
    child.once('close', (code, signal) => {
      clearInterval(memoryWatch);
      if (reported) resolve(reported);
      else if (stopping) resolve({ state: 'stopped' });
      else if (tooLargeMb !== undefined) resolve(tooLarge(tooLargeMb, job.memoryLimitMb));
      else resolve(crash(code, signal, tail));
    });
  });
  send(child, { type: 'merge', job, showsPicture: onPicture !== undefined });
  return {
    pid: child.pid ?? null,
    ended,
    stop() {
      stopping = true;
      send(child, { type: 'stop' });
      const timer = setTimeout(() => child.kill('SIGKILL'), killMs);
      void ended.then(() => clearTimeout(timer));
    },
  };
}

function send(child: ChildProcess, command: StackCommand): void {
  // A closed channel shows as the end of the process.
  if (child.connected) child.send(command, () => {});
}

/** Calls `onTooMuch` when the process holds more memory than it may. Only where /proc gives it (Linux). */
function watchMemory(
  { pid }: ChildProcess,
  limitMb: number | undefined,
  onTooMuch: (memoryMb: number) => void,
): NodeJS.Timeout | undefined {
  if (limitMb === undefined || pid === undefined) return undefined;
  return setInterval(async () => {
    const status = await readFile(`/proc/${pid}/status`, 'utf8').catch(() => '');
    const kilobytes = /^VmRSS:\s*(\d+) kB/m.exec(status)?.[1];
    const memoryMb = (Number(kilobytes ?? 0) * 1024) / 1e6;
    if (memoryMb > limitMb) onTooMuch(memoryMb);
  }, memoryCheckMs);
}

function tooLarge(memoryMb: number, limitMb: number | undefined): StackEnd {
  return {
    state: 'failed',
    kind: 'memory',
    reason: `It took ${Math.round(memoryMb)} MB of memory, more than the ${Math.round(limitMb ?? 0)} MB it may: raise ${optionName('memoryMb')}, or make the frames smaller.`,
  };
}

function crash(code: number | null, signal: NodeJS.Signals | null, tail: string): StackEnd {
  if (/heap out of memory|Array buffer allocation failed|allocation fail/i.test(tail)) {
    return { state: 'failed', kind: 'memory', reason: 'Its process ran out of memory and died.' };
  }
  if (signal === 'SIGKILL') {
    const reason = 'Its process was killed from outside (SIGKILL), most likely because memory ran out.';
    return { state: 'failed', kind: 'memory', reason };
  }
  const how = signal === null ? `ended with code ${code}` : `died of ${signal}`;
  const last = tail.trim().split('\n').at(-1);
  const lastLine = last ? `; its last words: ${last}` : '';
  return { state: 'failed', kind: 'crash', reason: `Its process ${how} before it was done${lastLine}` };
}

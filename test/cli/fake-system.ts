import { EventEmitter } from 'node:events';
import { Writable } from 'node:stream';
import { vi } from 'vitest';
import { runCli } from '../../src/cli/run.js';
import type { System } from '../../src/cli/system.js';
import type { MergeFunction } from '../../src/merge/merge-api.js';
import { fakeMerge } from './fixtures/fake-merge.js';

/** A stream that keeps what is written; a terminal when it is given columns. */
export class Recorder extends Writable {
  text = '';
  readonly isTTY: boolean;
  readonly columns: number;

  constructor(columns = 0) {
    super();
    this.isTTY = columns > 0;
    this.columns = columns;
  }

  override _write(chunk: Buffer, _encoding: string, done: () => void): void {
    this.text += chunk.toString();
    done();
  }
}

/** A system whose streams are recorded and whose merge is a fake. */
export function fakeSystem(merge: MergeFunction = fakeMerge, columns = 0) {
  const stdout = new Recorder();
  const stderr = new Recorder(columns);
  const signals = new EventEmitter();
  const abandonResult = vi.fn<System['abandonResult']>();
  return { stdout, stderr, signals, abandonResult, loadMerge: async () => merge } satisfies System;
}

/** Runs a command line on such a system. */
export async function runLamella(...args: string[]) {
  const system = fakeSystem();
  const exitCode = await runCli(args, '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

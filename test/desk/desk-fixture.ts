import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll } from 'vitest';
import type { DeskJob } from '../../src/desk/protocol.js';
import { type ServedDesk, serveDesk } from '../../src/desk/serve.js';
import { placeFrames, renderTiny } from '../batch/tiny-stacks.js';
import { makeFolder } from '../stack/pictures.js';
import { ask, type Reply } from '../view/made-page.js';

export interface DeskFixture {
  /** Holds the stacks `bee` and `fly` of three photographs each, and the folders `week/wasp` and `empty`. */
  root: string;
  served: ServedDesk;
  get(path: string, query?: Record<string, string>): Promise<Reply>;
  post(path: string, body: unknown): Promise<Reply>;
  /** The job once it has ended. */
  ended(id: number): Promise<DeskJob>;
}

/** A desk over a folder with small stacks, for all tests of a file. */
export function useDesk(): DeskFixture {
  const fixture = {
    async get(path: string, query: Record<string, string> = {}) {
      const text = new URLSearchParams(query).toString();
      const { pathname } = new URL(fixture.served.address);
      return ask(fixture.served.address, { path: `${pathname}${path}${text ? `?${text}` : ''}` });
    },
    async post(path: string, body: unknown) {
      const headers = { 'content-type': 'application/json' };
      return ask(`${fixture.served.address}${path}`, { method: 'POST', headers, body: JSON.stringify(body) });
    },
    async ended(id: number) {
      for (;;) {
        const job = fixture.served.desk.jobs.get(id);
        if (!job) throw new Error(`There is no job ${id}`);
        if (job.endedAt !== null) return job;
        await new Promise((resolve) => setTimeout(resolve, 30));
      }
    },
  } as DeskFixture;
  beforeAll(async () => {
    fixture.root = await placeStacks();
    fixture.served = await serveDesk({ folder: fixture.root });
  });
  afterAll(() => fixture.served?.close());
  return fixture;
}

async function placeStacks(): Promise<string> {
  const root = join(makeFolder(), 'photographs');
  const frames = await renderTiny();
  for (const name of ['bee', 'fly', 'week/wasp']) placeFrames(join(root, name), frames);
  mkdirSync(join(root, 'empty'));
  return root;
}

export function jsonOf<T>({ body }: Reply): T {
  return JSON.parse(body.toString()) as T;
}

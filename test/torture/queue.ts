import { spawn, spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:net';
import { join } from 'node:path';
import { setTimeout as delay } from 'node:timers/promises';
import { Queue, Worker } from 'bullmq';
import { Redis } from 'ioredis';
import { queueName } from '../../src/batch/queue/queue-connection.js';
import { seededRandom } from '../outside/seeded-random.js';
import { misbehaviour, type Running, startCommand } from './command.js';
import { below, junk, pick, type Random } from './damage.js';
import { changedPaths, digestOf, type Fixtures, picturesOf } from './fixtures.js';
import { runCases, type Tally, type TortureOptions, type Verdict } from './tally.js';

interface Bench {
  url: string;
  redis: Redis;
  fixtures: Fixtures;
  random: Random;
}

type Attack = [what: string, attack: (bench: Bench) => Promise<Verdict>];

const attacks: readonly Attack[] = [
  ['jobs that are none', jobsThatAreNone],
  ['jobs for folders that a worker may not touch', jobsOutside],
  ['answers that are none', answersThatAreNone],
  ['a server that loses its memory', lostMemory],
  ['a worker that is killed in mid-stack', killedWorker],
  ['a server that is none', noServer],
];

/** Attacks batches and workers through the queue. Needs redis-server, and uses one of its own on the loopback. */
export async function tortureQueue(fixtures: Fixtures, options: TortureOptions): Promise<Tally> {
  if (spawnSync('redis-server', ['--version']).status !== 0) {
    options.log('queue: left out, as there is no redis-server on this machine');
    return { part: 'queue', tried: 0, right: 0, wrong: [], left: options.count };
  }
  const port = await freePort();
  const server = spawn(
    'redis-server',
    ['--port', String(port), '--bind', '127.0.0.1', '--save', '', '--maxmemory-policy', 'noeviction'],
    { stdio: 'ignore', cwd: fixtures.makeCase() },
  );
  const url = `redis://127.0.0.1:${port}`;
  const redis = new Redis(url, { maxRetriesPerRequest: null });
  redis.on('error', () => undefined);
  try {
    await redis.ping();
    return await runCases('queue', options, async (i) => {
      await redis.flushall();
      const random = seededRandom(options.seed * 1_000_003 + i * 32_452_843);
      const [what, attack] = attacks[i % attacks.length];
      const wrong = await attack({ url, redis, fixtures, random }).catch(
        (error: unknown) =>
          `the attack itself failed: ${error instanceof Error ? error.message : String(error)}`,
      );
      return { what, wrong };
    });
  } finally {
    redis.disconnect();
    server.kill('SIGKILL');
  }
}

async function freePort(): Promise<number> {
  const probe = createServer();
  await new Promise<void>((resolve) => probe.listen(0, '127.0.0.1', resolve));
  const address = probe.address();
  await new Promise((resolve) => probe.close(resolve));
  return typeof address === 'object' && address ? address.port : 0;
}

/** A folder with a stack, a place for results, and something that nobody may touch beside it. */
function placeWork({ fixtures }: Bench): { shared: string; week: string; out: string; canary: string } {
  const folder = fixtures.makeCase();
  const shared = join(folder, 'shared');
  const week = join(shared, 'week');
  mkdirSync(shared);
  cpSync(fixtures.week, week, { recursive: true });
  const canary = join(folder, 'canary');
  cpSync(fixtures.stack, join(canary, 'stack'), { recursive: true });
  writeFileSync(join(canary, 'secret.txt'), 'nobody reads or writes here');
  return { shared, week, out: join(shared, 'out'), canary };
}

function startWorker(url: string, shared: string): Running {
  return startCommand([
    'worker',
    '--queue',
    url,
    '--below',
    shared,
    '--threads',
    '1',
    '--lease',
    '3',
    '--json',
  ]);
}

/** Hands a batch to the queue and says whether both of its stacks are there at the end, as without a queue. */
async function batchSucceeds({ url, fixtures }: Bench, week: string, out: string): Promise<Verdict> {
  const ended = await startCommand(['batch', week, '--out', out, '--queue', url]).ended;
  const fault = misbehaviour(ended, []);
  if (fault !== undefined) return `the batch: ${fault}`;
  if (ended.code !== 0) return `the batch ended with ${ended.code}: ${ended.stderr.slice(-300)}`;
  for (const name of ['ant', 'bee']) {
    if (!existsSync(join(out, name, 'run.json'))) return `the batch says done, and ${name} is not there`;
    if (picturesOf(join(out, name)) !== picturesOf(join(fixtures.weekMerged, name)))
      return `${name} is another picture`;
  }
  return undefined;
}

/** Whether a worker lives, and said nothing that it may not say. */
function workerFault({ child, stderr, stdout }: Running): Verdict {
  const said = stdout() + stderr();
  if (/defect of Lamella|^\s+at .+:\d+:\d+/m.test(said))
    return `the worker: a stack trace: ${said.slice(0, 300)}`;
  if (child.exitCode !== null || child.signalCode !== null) return `the worker ended: ${said.slice(-300)}`;
  return undefined;
}

async function endWorker({ child, ended }: Running): Promise<void> {
  child.kill('SIGKILL');
  await ended;
}

const strangeThings: readonly unknown[] = [
  null,
  {},
  [],
  '',
  'x',
  0,
  { state: 'done' },
  { end: null },
  { end: { state: 'done' } },
  { end: { state: 'done', report: null } },
  { end: { state: 'done', report: {} } },
  { end: { state: 'nonsense' } },
  { state: 'done', report: { event: 'end', stack: '../../x', files: [] } },
  { end: { state: 'failed' } },
  { end: { state: 'failed', kind: 7, reason: { toString: 1 } } },
  { job: null },
  { job: { folder: 7 } },
  { job: { folder: '/etc', out: '/tmp/x', files: [], options: {} } },
  { programVersion: '99.0.0', end: { state: 'done', report: {} } },
  { __proto__: { state: 'done' } },
  'y'.repeat(100_000),
];

async function jobsThatAreNone(bench: Bench): Promise<Verdict> {
  const { url, redis, random } = bench;
  const { shared, week, out, canary } = placeWork(bench);
  const before = digestOf(canary);
  const queue = queueAt(url);
  const worker = startWorker(url, shared);
  try {
    for (let i = 0; i < 6; i++) {
      const data =
        random() < 0.2 ? { junk: junk(random, 300).toString('latin1') } : pick(random, strangeThings);
      await queue.add(pick(random, ['stack', 'x', '']) || 'y', data, { priority: 1 + below(random, 100) });
    }
    // A job whose data is no JSON at all.
    const job = await queue.add('stack', {});
    await redis.hset(`bull:${queueName}:${job.id}`, 'data', '{"half');
    const fault = await batchSucceeds(bench, week, out);
    return fault ?? workerFault(worker) ?? touched(before, canary);
  } finally {
    await endWorker(worker);
    await queue.close();
  }
}

async function jobsOutside(bench: Bench): Promise<Verdict> {
  const { url, random } = bench;
  const { shared, week, out, canary } = placeWork(bench);
  const before = digestOf(canary);
  const queue = queueAt(url);
  const worker = startWorker(url, shared);
  const stack = join(canary, 'stack');
  try {
    for (let i = 0; i < 4; i++) {
      const folder = pick(random, [stack, `${shared}/../canary/stack`, '/etc', join(shared, 'week', 'ant')]);
      const target = pick(random, [
        join(canary, 'out'),
        `${shared}/../canary/new`,
        join(shared, 'stolen'),
        stack,
      ]);
      const job = {
        folder,
        out: target,
        options: { overwrite: true },
        files: [],
        wholeFolder: false,
        nice: 0,
      };
      await queue.add('stack', { programVersion: versionHere(), host: 'x', stack: folder, frames: 4, job });
    }
    const fault = await batchSucceeds(bench, week, out);
    if (existsSync(join(shared, 'stolen'))) return 'a job that no batch began was merged';
    return fault ?? workerFault(worker) ?? touched(before, canary);
  } finally {
    await endWorker(worker);
    await queue.close();
  }
}

function versionHere(): string {
  const manifest = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8'));
  return manifest.version;
}

async function answersThatAreNone(bench: Bench): Promise<Verdict> {
  const { url, random } = bench;
  const { week, out } = placeWork(bench);
  const { hostname, port } = new URL(url);
  const liar = new Worker(queueName, async () => pick(random, strangeThings), {
    connection: { host: hostname, port: Number(port) },
  });
  liar.on('error', () => undefined);
  try {
    const ended = await startCommand(['batch', week, '--out', out, '--queue', url]).ended;
    const fault = misbehaviour(ended, []);
    if (fault !== undefined) return `the batch: ${fault}`;
    const isThere = existsSync(join(out, 'ant', 'run.json'));
    return ended.code === 0 && !isThere ? 'the batch believed that its stacks are done' : undefined;
  } finally {
    await liar.close(true);
  }
}

async function lostMemory(bench: Bench): Promise<Verdict> {
  const { url, redis, random } = bench;
  const { shared, week, out } = placeWork(bench);
  const worker = startWorker(url, shared);
  const losing = (async () => {
    for (let i = 0; i < 2; i++) {
      await delay(500 + random() * 3000);
      await redis.flushall();
    }
  })();
  try {
    const fault = await batchSucceeds(bench, week, out);
    await losing;
    return fault ?? workerFault(worker);
  } finally {
    await endWorker(worker);
  }
}

async function killedWorker(bench: Bench): Promise<Verdict> {
  const { url, random } = bench;
  const { shared, week, out } = placeWork(bench);
  const doomed = startWorker(url, shared);
  const heir = delay(500 + random() * 3000).then(async () => {
    await endWorker(doomed);
    return startWorker(url, shared);
  });
  try {
    const fault = await batchSucceeds(bench, week, out);
    return fault ?? workerFault(await heir);
  } finally {
    await endWorker(await heir);
  }
}

/** Something that listens and is no Redis server. */
async function noServer(bench: Bench): Promise<Verdict> {
  const { random } = bench;
  const { shared, week, out } = placeWork(bench);
  const manner = pick(random, ['closes', 'talks HTTP', 'talks junk', 'nobody']);
  const port = await freePort();
  let server: Server | undefined;
  if (manner !== 'nobody') {
    server = createServer((socket) => {
      socket.on('error', () => undefined);
      if (manner === 'talks HTTP') socket.end('HTTP/1.1 400 Bad Request\r\n\r\n');
      else if (manner === 'talks junk') socket.end(junk(random, 200));
      else socket.destroy();
    });
    await new Promise<void>((resolve) => server?.listen(port, '127.0.0.1', resolve));
  }
  const url = `redis://127.0.0.1:${port}`;
  try {
    for (const args of [
      ['batch', week, '--out', out, '--queue', url],
      ['worker', '--queue', url, '--below', shared],
    ]) {
      const ended = await startCommand(args).ended;
      const fault = misbehaviour(ended, []);
      if (fault !== undefined) return `${args[0]} with a server that ${manner}: ${fault}`;
      if (ended.code === 0) return `${args[0]} succeeds with a server that ${manner}`;
    }
    return undefined;
  } finally {
    server?.close();
  }
}

function queueAt(url: string): Queue<unknown> {
  const { hostname, port } = new URL(url);
  const queue = new Queue<unknown>(queueName, { connection: { host: hostname, port: Number(port) } });
  queue.on('error', () => undefined);
  return queue;
}

function touched(before: Record<string, string>, canary: string): Verdict {
  const changed = changedPaths(before, digestOf(canary));
  return changed.length > 0 ? `changed what is outside: ${changed.join(', ')}` : undefined;
}

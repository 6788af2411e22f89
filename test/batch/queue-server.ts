import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { createServer } from 'node:net';
import { Redis } from 'ioredis';
import { makeFolder } from '../stack/pictures.js';

/** Whether this machine has a Redis server (Debian: redis-server). */
export const hasServer =
  process.platform === 'linux' && spawnSync('redis-server', ['--version']).status === 0;

/** A Redis server on the loopback, without data on any disk. */
export interface QueueServer {
  url: string;
  port: number;
  /** Ends it and starts another in its place, which knows nothing of what it held. */
  restart(): Promise<void>;
  stop(): void;
}

/** Starts a server and waits until it answers. */
export async function startServer(...more: string[]): Promise<QueueServer> {
  const port = await freePort();
  const url = `redis://127.0.0.1:${port}`;
  let child = await startOn(port, more);
  return {
    url,
    port,
    async restart() {
      const ended = once(child, 'exit');
      child.kill('SIGKILL');
      await ended;
      child = await startOn(port, more);
    },
    stop: () => void child.kill('SIGKILL'),
  };
}

async function startOn(port: number, more: string[]): Promise<ChildProcess> {
  const args = ['--port', String(port), '--bind', '127.0.0.1', '--save', '', '--dir', makeFolder()];
  const all = [...args, '--maxmemory-policy', 'noeviction', ...more];
  const child = spawn('redis-server', all, { stdio: 'ignore' });
  const password = more[more.indexOf('--requirepass') + 1];
  const redis = new Redis({
    ...{ host: '127.0.0.1', port, maxRetriesPerRequest: null },
    ...(more.includes('--requirepass') && { password }),
  });
  redis.on('error', () => {});
  await redis.ping();
  redis.disconnect();
  return child;
}

async function freePort(): Promise<number> {
  const probe = createServer();
  await new Promise<void>((resolve) => probe.listen(0, '127.0.0.1', resolve));
  const address = probe.address();
  await new Promise((resolve) => probe.close(resolve));
  return typeof address === 'object' && address ? address.port : 0;
}

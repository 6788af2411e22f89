import type { RedisOptions } from 'bullmq';
import { Redis } from 'ioredis';
import { OutputError } from '../../errors.js';
import { optionError } from '../../option-error.js';
import type { StackEnd, StackJob } from '../stack-job.js';

/** Name of the queue on the server, the same for all batches and workers. */
export const queueName = 'lamella-stacks';

/** What a worker gets; paths hold on every machine. */
export interface QueuedStack {
  /** Key of the stack, for words. */
  stack: string;
  frames: number;
  job: StackJob;
}

export type QueuedEnd = StackEnd;

/** How long a server may take to answer the first time. */
const connectMs = 5000;

/** Throws UsageError unless the text is the address of a Redis server. */
export function checkQueueUrl(url: string): void {
  const parsed = URL.canParse(url) ? new URL(url) : undefined;
  if (!parsed || !['redis:', 'rediss:'].includes(parsed.protocol) || parsed.hostname === '') {
    throw optionError('queue', 'the address of a Redis server, such as redis://host:6379,', shownUrl(url));
  }
}

/** An address as it may be shown: without its password. */
export function shownUrl(url: string): string {
  return url === '' ? 'an empty text' : url.replace(/(:\/\/[^/@]*?:)[^/@]*@/, '$1***@');
}

/** Connection settings for all parts of the queue: a server that goes away is waited for. */
export function connectionTo(url: string): RedisOptions {
  return { url, maxRetriesPerRequest: null } as RedisOptions;
}

/** Asks the server whether it is there. Throws OutputError when it does not answer. */
export async function requireServer(url: string): Promise<void> {
  checkQueueUrl(url);
  const probe = new Redis(url, { lazyConnect: true, connectTimeout: connectMs, retryStrategy: () => null });
  let reason = '';
  probe.on('error', (error: Error) => {
    reason = error.message;
  });
  try {
    await probe.connect();
    await probe.ping();
  } catch (error) {
    const told = reason || (error instanceof Error ? error.message : String(error));
    throw new OutputError(
      `The queue at ${shownUrl(url)} cannot be reached: ${told}. Start its server, or correct --queue.`,
      { cause: error },
    );
  } finally {
    probe.disconnect();
  }
}

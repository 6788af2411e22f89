import type { RedisOptions } from 'bullmq';
import { Redis } from 'ioredis';
import { named, OutputError } from '../../errors.js';
import { checkQueueUrl, shownUrl } from './queue-url.js';

/** Name of the queue on the server, the same for all batches and workers. */
export const queueName = 'lamella-stacks';

/** How long a server may take to answer the first time. */
const connectMs = 5000;

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
    const cause = reason || (error instanceof Error ? error.message : String(error));
    throw new OutputError(
      `The queue at ${shownUrl(url)} cannot be reached: ${cause}. Start its server, or correct ${named('queue')}.`,
      { cause: error },
    );
  } finally {
    probe.disconnect();
  }
}

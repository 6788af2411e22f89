import type { IncomingMessage } from 'node:http';
import type { HttpError } from './guard.js';

const maxBodyBytes = 8e6;

/** The body of a request that must be JSON, as text. */
export async function readBody(request: IncomingMessage): Promise<string | HttpError> {
  if (!/^application\/json\b/.test(request.headers['content-type'] ?? '')) {
    return { status: 415, message: 'The body must be JSON.' };
  }
  const pieces: Buffer[] = [];
  let length = 0;
  try {
    for await (const piece of request as AsyncIterable<Buffer>) {
      length += piece.length;
      if (length > maxBodyBytes) return { status: 413, message: 'The body is too long.' };
      pieces.push(piece);
    }
  } catch {
    // Whoever sent it went away in the middle.
    return { status: 400, message: 'The body ended early.' };
  }
  return Buffer.concat(pieces).toString('utf8');
}

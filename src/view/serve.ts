import { randomBytes } from 'node:crypto';
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { LamellaError } from '../errors.js';
import { optionError } from '../option-error.js';
import { systemCode } from '../result/output-failure.js';
import { guardHeaders, type HttpError, passGuard } from './guard.js';
import { portNumber } from './port.js';
import { type Answer, answer } from './routes.js';
import { Viewer, type ViewerOptions } from './viewer.js';

/** How a result is served. */
export interface ServeOptions extends ViewerOptions {
  /** 1 to 65535. Default: a free one. */
  port?: number | undefined;
}

/** A page that is being served. */
export interface Served {
  /** With the token; whoever has it can see the result and mend it. */
  address: string;
  viewer: Viewer;
  /** Ends the page and frees what it holds. */
  close(): Promise<void>;
}

const loopback = '127.0.0.1';

/**
 * Serves the page over a result on this machine alone.
 *
 * @throws UsageError when the port is none or is taken; InputError when the folder is no result.
 */
export async function serveResult(folder: string, options: ServeOptions = {}): Promise<Served> {
  const { port: wanted } = options;
  if (wanted !== undefined && !portNumber.isValid(wanted))
    throw optionError('port', portNumber.range, wanted);
  const viewer = await Viewer.open(folder, options);
  const token = randomBytes(24).toString('base64url');
  const server = createServer((request, response) => {
    const { port } = server.address() as AddressInfo;
    const gone = new AbortController();
    // Also at the end of an answer, when nobody listens any more.
    response.once('close', () => gone.abort());
    respond(viewer, request, port, token, gone.signal).then(
      (outcome) => send(request, response, outcome),
      (error: unknown) => send(request, response, failure(error)),
    );
  });
  try {
    await new Promise<void>((resolve, reject) => {
      server.once('error', reject);
      server.listen(wanted ?? 0, loopback, resolve);
    });
  } catch (error) {
    await viewer.close();
    if (!['EADDRINUSE', 'EACCES'].includes(systemCode(error) ?? '')) throw error;
    throw optionError('port', 'a free port', wanted, { cause: error });
  }
  viewer.prepare();
  const { port } = server.address() as AddressInfo;
  return {
    address: `http://${loopback}:${port}/${token}/`,
    viewer,
    async close() {
      server.closeAllConnections();
      await new Promise<void>((resolve) => server.close(() => resolve()));
      await viewer.close();
    },
  };
}

async function respond(
  viewer: Viewer,
  request: IncomingMessage,
  port: number,
  token: string,
  gone: AbortSignal,
): Promise<Answer | HttpError> {
  const passed = passGuard(request, port, token);
  return typeof passed === 'string' ? answer(viewer, request, passed, gone) : passed;
}

function failure(error: unknown): Answer {
  const isKnown = error instanceof LamellaError;
  const message = isKnown ? error.message : 'Something went wrong in Lamella.';
  if (!isKnown) process.emitWarning(error instanceof Error ? error : String(error));
  return {
    status: isKnown ? 409 : 500,
    type: 'application/json; charset=utf-8',
    body: JSON.stringify({ message }),
  };
}

function send(request: IncomingMessage, response: ServerResponse, outcome: Answer | HttpError): void {
  if (response.destroyed) return;
  const headers: Record<string, string> = { ...guardHeaders, 'Cache-Control': 'no-store' };
  let body: Buffer | string;
  if ('message' in outcome) {
    headers['Content-Type'] = 'text/plain; charset=utf-8';
    // For a wrong method the message is the list of right ones.
    if (outcome.status === 405) headers.Allow = outcome.message;
    body = outcome.status === 405 ? `Expected ${outcome.message}.\n` : `${outcome.message}\n`;
  } else {
    headers['Content-Type'] = outcome.type;
    if (outcome.isLasting) headers['Cache-Control'] = 'private, max-age=86400, immutable';
    body = outcome.body;
  }
  headers['Content-Length'] = String(Buffer.byteLength(body));
  response.writeHead(outcome.status, headers);
  response.end(request.method === 'HEAD' ? undefined : body);
}

import { randomBytes } from 'node:crypto';
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { LamellaError } from '../errors.js';
import { optionError } from '../option-error.js';
import { systemCode } from '../result/output-failure.js';
import { guardHeaders, type HttpError, passGuard } from './guard.js';
import { portNumber } from './port.js';

export interface Answer {
  status: number;
  type: string;
  body: Buffer | string;
  /** True for what never changes under its address. */
  isLasting?: boolean;
}

/** An answer that goes on: `begin` gets the response, with its headers set, and writes to it until it closes. */
export interface StreamAnswer {
  type: string;
  begin(response: ServerResponse): void;
}

/**
 * Answers a request that passed the guard.
 *
 * @param path What follows the token.
 * @param gone Aborted when nobody waits for the answer any more.
 */
export type Respond = (
  request: IncomingMessage,
  path: string,
  gone: AbortSignal,
) => Promise<Answer | StreamAnswer | HttpError>;

/** A server on this machine alone. */
export interface LocalServer {
  /** With the token; whoever has it can ask everything. */
  address: string;
  /**
   * An address that leads to `address` once, within a minute: for the command line of a browser, which every user of the
   * machine can read.
   */
  entrance(): string;
  close(): Promise<void>;
}

const loopback = '127.0.0.1';
const entranceMs = 60_000;

export const jsonType = 'application/json; charset=utf-8';

export function jsonAnswer(value: unknown, status = 200): Answer {
  return { status, type: jsonType, body: JSON.stringify(value) };
}

/** Throws UsageError for what is no port. */
export function checkPort(port: number | undefined): void {
  if (port !== undefined && !portNumber.isValid(port)) throw optionError('port', portNumber.range, port);
}

/**
 * Serves on the loopback, behind the guard (`passGuard`).
 *
 * @param wanted 1 to 65535; undefined for a free port.
 * @throws UsageError when the port is taken.
 */
export async function serveLocally(wanted: number | undefined, respond: Respond): Promise<LocalServer> {
  const token = newToken();
  const entrances = new Set<string>();
  const server = createServer((request, response) => {
    const { port } = server.address() as AddressInfo;
    const entered = enter(request, port, entrances);
    if (entered) {
      response.writeHead(303, { ...guardHeaders, 'Cache-Control': 'no-store', Location: `/${token}/` }).end();
      return;
    }
    const gone = new AbortController();
    // Also at the end of an answer, when nobody listens any more.
    response.once('close', () => gone.abort());
    const passed = passGuard(request, port, token);
    const outcome =
      typeof passed === 'string' ? respond(request, passed, gone.signal) : Promise.resolve(passed);
    outcome.then(
      (answer) => send(request, response, answer),
      (error: unknown) => send(request, response, failure(error)),
    );
  });
  try {
    await new Promise<void>((resolve, reject) => {
      server.once('error', reject);
      server.listen(wanted ?? 0, loopback, resolve);
    });
  } catch (error) {
    if (!['EADDRINUSE', 'EACCES'].includes(systemCode(error) ?? '')) throw error;
    throw optionError('port', 'a free port', wanted, { cause: error });
  }
  const { port } = server.address() as AddressInfo;
  return {
    address: `http://${loopback}:${port}/${token}/`,
    entrance() {
      const ticket = newToken();
      entrances.add(ticket);
      setTimeout(() => entrances.delete(ticket), entranceMs).unref();
      return `http://${loopback}:${port}/${ticket}/`;
    },
    async close() {
      server.closeAllConnections();
      await new Promise<void>((resolve) => server.close(() => resolve()));
    },
  };
}

function newToken(): string {
  return randomBytes(24).toString('base64url');
}

/** Whether a request comes through an entrance, which is used up by it. */
function enter(request: IncomingMessage, port: number, entrances: Set<string>): boolean {
  for (const ticket of entrances) {
    if (request.method !== 'GET' || passGuard(request, port, ticket) !== '/') continue;
    entrances.delete(ticket);
    return true;
  }
  return false;
}

function failure(error: unknown): Answer {
  const isKnown = error instanceof LamellaError;
  const message = isKnown ? error.message : 'Something went wrong in Lamella.';
  if (!isKnown) process.emitWarning(error instanceof Error ? error : String(error));
  return jsonAnswer({ message }, isKnown ? 409 : 500);
}

function send(
  request: IncomingMessage,
  response: ServerResponse,
  outcome: Answer | StreamAnswer | HttpError,
): void {
  if (response.destroyed) return;
  const headers: Record<string, string> = { ...guardHeaders, 'Cache-Control': 'no-store' };
  if ('begin' in outcome) {
    response.writeHead(200, { ...headers, 'Content-Type': outcome.type });
    if (request.method === 'HEAD') response.end();
    else outcome.begin(response);
    return;
  }
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

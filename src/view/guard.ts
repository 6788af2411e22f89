import { timingSafeEqual } from 'node:crypto';
import type { IncomingMessage } from 'node:http';

/** Why a request is turned away, with its HTTP status. */
export interface HttpError {
  status: 400 | 403 | 404 | 405 | 413 | 415;
  message: string;
}

/**
 * Lets through requests of our own page alone: the host must be this machine by its loopback name (a foreign name that
 * resolves to it is refused: DNS rebinding), a page that asks must be ours, and the first part of the path must be
 * the token.
 *
 * @returns The path after the token, always beginning with '/', undecoded; or why not.
 */
export function passGuard(request: IncomingMessage, port: number, token: string): string | HttpError {
  const hosts = [`127.0.0.1:${port}`, `localhost:${port}`];
  const { host, origin } = request.headers;
  if (host === undefined || !hosts.includes(host)) return refused('This address is for another host.');
  if (origin !== undefined && !hosts.some((own) => origin === `http://${own}`)) {
    return refused('Only the page itself may ask.');
  }
  const site = request.headers['sec-fetch-site'];
  const isNavigation = request.headers['sec-fetch-mode'] === 'navigate' && request.method === 'GET';
  if (site !== undefined && site !== 'same-origin' && site !== 'none' && !isNavigation) {
    return refused('Only the page itself may ask.');
  }
  const url = request.url ?? '';
  // A path is a list of known words and numbers: what is encoded, climbs or names a drive is none.
  const path = url.split('?', 1)[0];
  if (!/^\/[A-Za-z0-9_\-./]*$/.test(path) || path.split('/').includes('..')) {
    return { status: 400, message: 'This address is malformed.' };
  }
  const [, given = '', ...rest] = path.split('/');
  if (!sameText(given, token))
    return refused('The token in the address is wrong. Open the address that Lamella printed.');
  return `/${rest.join('/')}`;
}

/** Compares in constant time, which gives nothing away of how much agrees. */
function sameText(first: string, second: string): boolean {
  const [a, b] = [Buffer.from(first), Buffer.from(second)];
  return a.length === b.length && timingSafeEqual(a, b);
}

function refused(message: string): HttpError {
  return { status: 403, message };
}

/** Sent with every answer: nothing from elsewhere, no framing, no guessing of types. */
export const guardHeaders = {
  'Content-Security-Policy':
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
  'Cross-Origin-Resource-Policy': 'same-origin',
  'Cross-Origin-Opener-Policy': 'same-origin',
  'Referrer-Policy': 'no-referrer',
  'X-Content-Type-Options': 'nosniff',
  'X-Frame-Options': 'DENY',
} as const;

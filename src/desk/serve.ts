import type { IncomingMessage } from 'node:http';
import { LamellaError } from '../errors.js';
import type { HttpError } from '../view/guard.js';
import { type Answer, checkPort, jsonAnswer, type StreamAnswer, serveLocally } from '../view/local-server.js';
import { readBody } from '../view/read-body.js';
import { answer as answerOfResult } from '../view/routes.js';
import { Desk, type DeskOptions } from './desk.js';
import { deskName, inDeskWords } from './option-labels.js';
import { pageFile } from './page-files.js';
import { deskRoutes } from './routes.js';

/** How the desk is served. */
export interface ServeDeskOptions extends DeskOptions {
  /** 1 to 65535. Default: a free one. */
  port?: number | undefined;
}

/** The desk, being served. */
export interface ServedDesk {
  /** With the token; whoever has it can see the folders, merge and mend. */
  address: string;
  /** See `LocalServer`. */
  entrance(): string;
  desk: Desk;
  /** Ends all work, leaving nothing half done, and frees what is held. */
  close(): Promise<void>;
}

/**
 * Serves the desk on this machine alone.
 *
 * @throws UsageError when the port is none or is taken; InputError when the folder cannot be shown.
 */
export async function serveDesk(options: ServeDeskOptions = {}): Promise<ServedDesk> {
  checkPort(options.port);
  const desk = await Desk.open(options);
  let server: Awaited<ReturnType<typeof serveLocally>>;
  try {
    server = await serveLocally(options.port, (request, path, gone) => answer(desk, request, path, gone));
  } catch (error) {
    await desk.close();
    throw error;
  }
  return {
    address: server.address,
    entrance: server.entrance,
    desk,
    async close() {
      await server.close();
      await desk.close();
    },
  };
}

/** What is refused is told in the desk's words. */
async function answer(
  ...asked: Parameters<typeof answerPlainly>
): Promise<Answer | StreamAnswer | HttpError> {
  try {
    return await answerPlainly(...asked);
  } catch (error) {
    if (!(error instanceof LamellaError)) throw error;
    return jsonAnswer({ message: inDeskWords(error.messageWith(deskName)) }, 409);
  }
}

async function answerPlainly(
  desk: Desk,
  request: IncomingMessage,
  path: string,
  gone: AbortSignal,
): Promise<Answer | StreamAnswer | HttpError> {
  const look = /^\/look\/([0-9a-f]{16})(\/.*)$/.exec(path);
  if (look) {
    const viewer = await desk.results.viewer(look[1]);
    return viewer ? answerOfResult(viewer, request, look[2], gone, '../../#/look') : nothing;
  }
  const { method = 'GET' } = request;
  const routes = deskRoutes[path];
  const query = new URL(request.url ?? '/', 'http://127.0.0.1').searchParams;
  if (!routes) {
    if (method !== 'GET' && method !== 'HEAD') return { status: 405, message: 'GET, HEAD' };
    return (await pageFile(path)) ?? nothing;
  }
  const route = routes[method === 'HEAD' ? 'GET' : method];
  if (!route) return { status: 405, message: Object.keys(routes).join(', ') };
  if (method !== 'POST') return route(desk, { query, body: undefined, gone });
  const text = await readBody(request);
  if (typeof text !== 'string') return text;
  let body: unknown;
  try {
    body = JSON.parse(text);
  } catch {
    return { status: 400, message: 'The body is no JSON.' };
  }
  return route(desk, { query, body, gone });
}

const nothing: HttpError = { status: 404, message: 'There is nothing here.' };

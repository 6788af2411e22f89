import { readdir, readFile } from 'node:fs/promises';
import type { IncomingMessage } from 'node:http';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { InputError, LamellaError } from '../errors.js';
import { type Mend, mendListShape, repeatedId } from '../mend/mends-file.js';
import { type MeasureRequest, measureRequestShape } from '../result/measures-file.js';
import { objectShape, type Shape, wholeShape } from '../result/shape.js';
import type { HttpError } from './guard.js';
import { type Answer, jsonType } from './local-server.js';
import { pageHtml } from './page-html.js';
import { pageStyle } from './page-style.js';
import { readBody } from './read-body.js';
import type { TileAddress } from './tiles.js';
import type { Viewer } from './viewer.js';

const json = jsonType;

/**
 * Answers a request that passed the guard.
 *
 * @param path What follows the token.
 * @param gone Aborted when nobody waits for the answer any more.
 * @param home Address, from the page, of the page that led to it; none when it stands alone.
 */
export async function answer(
  viewer: Viewer,
  request: IncomingMessage,
  path: string,
  gone: AbortSignal,
  home?: string,
): Promise<Answer | HttpError> {
  const posted = postRoutes[path];
  const isRead = request.method === 'GET' || request.method === 'HEAD';
  if (posted) {
    if (request.method !== 'POST') return { status: 405, message: 'POST' };
    const body = await readBody(request);
    return typeof body === 'string' ? posted(viewer, body, gone) : body;
  }
  if (!isRead) return { status: 405, message: 'GET, HEAD' };
  if (path === '/') return { status: 200, type: 'text/html; charset=utf-8', body: await pageMarkup(home) };
  const query = new URL(request.url ?? '/', 'http://127.0.0.1').searchParams;
  return (await getRoute(viewer, path, query, gone)) ?? { status: 404, message: 'There is nothing here.' };
}

async function getRoute(
  viewer: Viewer,
  path: string,
  query: URLSearchParams,
  gone: AbortSignal,
): Promise<Answer | undefined> {
  if (path === '/style.css') return { status: 200, type: 'text/css; charset=utf-8', body: pageStyle };
  if (path.startsWith('/page/') || path.startsWith('/three/')) return pageScript(path);
  if (path === '/relief.glb') {
    return { status: 200, type: 'model/gltf-binary', body: await viewer.relief(), isLasting: true };
  }
  if (path === '/api/result') {
    return { status: 200, type: json, body: JSON.stringify(await viewer.freshInfo()) };
  }
  if (path === '/api/progress') {
    viewer.startBackground();
    return { status: 200, type: json, body: JSON.stringify(viewer.progress()) };
  }
  if (path === '/api/spot') return spotRoute(viewer, query);
  if (path === '/api/section') return sectionRoute(viewer, query);
  if (path === '/api/distance') return distanceRoute(viewer, query);
  if (path === '/api/measures') {
    return { status: 200, type: json, body: JSON.stringify({ measures: await viewer.measures() }) };
  }
  if (path === '/api/doubtful') {
    return { status: 200, type: json, body: JSON.stringify({ places: await viewer.doubtfulPlaces() }) };
  }
  if (path === '/crop') return cropRoute(viewer, query);
  if (path === '/merged-crop') return mergedCropRoute(viewer, query, gone);
  const tile = /^\/tile\/([a-z]+(?:-\d{1,5})?)\/(\d{1,2})\/(\d{1,5})\/(\d{1,5})$/.exec(path);
  return tile ? tileRoute(viewer, tile, query, gone) : undefined;
}

type PostRoute = (viewer: Viewer, body: string, gone: AbortSignal) => Promise<Answer>;

const postRoutes: Record<string, PostRoute | undefined> = {
  '/api/preview': (viewer, body, gone) =>
    withMends(body, ['mends'], ([mends]) => viewer.previewMends(mends, gone)),
  '/api/save': (viewer, body) =>
    withMends(body, ['mends', 'base'], ([mends, base]) => viewer.save(mends, base)),
  '/api/keep-measure': (viewer, body) =>
    withJson(body, keepShape, async ({ measure }) => ({
      measures: await viewer.editMeasures({ add: [measure] }),
    })),
  '/api/drop-measure': (viewer, body) =>
    withJson(body, dropShape, async ({ id }) => ({ measures: await viewer.editMeasures({ drop: [id] }) })),
  '/api/candidates': (viewer, body) =>
    withMends(body, ['mends'], async ([[mend]]) => {
      if (!mend) throw new InputError('Expected one mend for mends but received none.');
      return viewer.candidates(mend.region);
    }),
};

const keepShape = objectShape<{ measure: MeasureRequest }>({ measure: measureRequestShape });
const dropShape = objectShape<{ id: number }>({ id: wholeShape(1) });

/** Does work with what a body holds. */
async function withJson<T>(
  body: string,
  shape: Shape<T>,
  work: (given: T) => Promise<unknown>,
): Promise<Answer> {
  let parsed: unknown;
  try {
    parsed = JSON.parse(body);
  } catch {
    return refusal(400, 'The body is no JSON.');
  }
  const fault = shape(parsed, '');
  if (fault) return refusal(400, `Expected ${fault.expected} for ${fault.field || 'the body'}.`);
  try {
    return { status: 200, type: json, body: JSON.stringify(await work(parsed as T)) };
  } catch (error) {
    if (error instanceof LamellaError) return refusal(409, error.message);
    throw error;
  }
}

/** Does work with the lists of mends that a body holds under `names`. */
async function withMends(
  body: string,
  names: readonly string[],
  work: (lists: Mend[][]) => Promise<unknown>,
): Promise<Answer> {
  let parsed: unknown;
  try {
    parsed = JSON.parse(body);
  } catch {
    return refusal(400, 'The body is no JSON.');
  }
  const lists = names.map((name) => (parsed as Record<string, unknown> | null)?.[name]);
  for (const [i, list] of lists.entries()) {
    const fault = mendListShape(list, names[i]);
    if (fault) return refusal(400, `Expected ${fault.expected} for ${fault.field}.`);
    const twice = repeatedId(list as Mend[]);
    if (twice !== undefined) {
      return refusal(400, `Expected an id of its own for each of ${names[i]} but received ${twice} twice.`);
    }
  }
  try {
    return { status: 200, type: json, body: JSON.stringify(await work(lists as Mend[][])) };
  } catch (error) {
    if (error instanceof LamellaError) return refusal(409, error.message);
    throw error;
  }
}

function refusal(status: number, message: string): Answer {
  return { status, type: json, body: JSON.stringify({ message }) };
}

/** Scripts by name, read once: no part of an address ever becomes a path. */
let scripts: Promise<Map<string, string>> | undefined;

/** What only the relief needs, with a library larger than the page: it comes when asked for. */
const lateScripts = ['/page/relief-scene.js'];

async function pageMarkup(home: string | undefined): Promise<string> {
  scripts ??= readScripts();
  // Relative to the page: the token is part of its address.
  const pages = [...(await scripts).keys()].filter((path) => path.startsWith('/page/'));
  return pageHtml(
    pages.filter((path) => !lateScripts.includes(path)).map((path) => path.slice(1)),
    home,
  );
}

async function pageScript(path: string): Promise<Answer | undefined> {
  scripts ??= readScripts();
  const body = (await scripts).get(path);
  return body === undefined ? undefined : { status: 200, type: 'text/javascript; charset=utf-8', body };
}

async function readScripts(): Promise<Map<string, string>> {
  // From dist also when this file runs from its source, as in tests.
  const folder = fileURLToPath(new URL('../../dist/view/', import.meta.url));
  const found = new Map<string, string>();
  for (const part of ['page', 'three']) {
    for (const name of await readdir(join(folder, part))) {
      if (name.endsWith('.js'))
        found.set(`/${part}/${name}`, await readFile(join(folder, part, name), 'utf8'));
    }
  }
  return found;
}

async function tileRoute(
  viewer: Viewer,
  [, layer, level, column, row]: RegExpExecArray,
  query: URLSearchParams,
  gone: AbortSignal,
): Promise<Answer | undefined> {
  const address: TileAddress = { level: Number(level), column: Number(column), row: Number(row) };
  if (layer === 'numbers') {
    const numbers = await viewer.sourceNumbers(address);
    if (!numbers) return undefined;
    const body = Buffer.from(numbers.buffer, numbers.byteOffset, numbers.byteLength);
    return { status: 200, type: 'application/octet-stream', body, isLasting: true };
  }
  const body = await viewer.pictures.tile(layer, address, query.get('mends') ?? '0', gone);
  return body && { status: 200, type: 'image/jpeg', body, isLasting: true };
}

function spotRoute(viewer: Viewer, query: URLSearchParams): Answer | undefined {
  const [x, y, radius = 0] = wholeNumbers(query, ['x', 'y', 'radius']) ?? [];
  const { width, height } = viewer.info().size;
  if (x === undefined || x >= width || y >= height) return undefined;
  return { status: 200, type: json, body: JSON.stringify(viewer.spot(x, y, radius)) };
}

async function sectionRoute(viewer: Viewer, query: URLSearchParams): Promise<Answer | undefined> {
  const ends = wholeNumbers(query, ['x0', 'y0', 'x1', 'y1', 'points']);
  if (!ends) return undefined;
  const [x0, y0, x1, y1, points] = ends;
  const section = await viewer.section([x0, y0], [x1, y1], points);
  return { status: 200, type: json, body: JSON.stringify(section) };
}

async function distanceRoute(viewer: Viewer, query: URLSearchParams): Promise<Answer | undefined> {
  const ends = wholeNumbers(query, ['x0', 'y0', 'x1', 'y1']);
  if (!ends) return undefined;
  const [x0, y0, x1, y1] = ends;
  const distance = await viewer.distance([x0, y0], [x1, y1]);
  return { status: 200, type: json, body: JSON.stringify(distance) };
}

async function cropRoute(viewer: Viewer, query: URLSearchParams): Promise<Answer | undefined> {
  const numbers = wholeNumbers(query, ['frame', 'x', 'y', 'width', 'height']);
  if (!numbers) return undefined;
  const [frame, x, y, width, height] = numbers;
  const body = await viewer.pictures.crop(frame, { x, y, width, height });
  return body && { status: 200, type: 'image/jpeg', body, isLasting: true };
}

async function mergedCropRoute(
  viewer: Viewer,
  query: URLSearchParams,
  gone: AbortSignal,
): Promise<Answer | undefined> {
  const rule = (['auto', 'select', 'weigh'] as const).find((known) => known === query.get('rule'));
  const numbers = wholeNumbers(query, ['x', 'y', 'width', 'height', 'left', 'top', 'across', 'down']);
  if (!rule || !numbers) return undefined;
  const [x, y, width, height, left, top, across, down] = numbers;
  const window = { x: left, y: top, width: across, height: down };
  const body = await viewer.pictures.mergedCrop(rule, { x, y, width, height }, window, gone);
  return body && { status: 200, type: 'image/jpeg', body, isLasting: true };
}

function wholeNumbers(query: URLSearchParams, names: readonly string[]): number[] | undefined {
  const texts = names.map((name) => query.get(name) ?? '');
  return texts.every((text) => /^\d{1,6}$/.test(text)) ? texts.map(Number) : undefined;
}

import { createHash } from 'node:crypto';

/** Longest name that is given, bytes: room is left for what a running merge puts before and after it. */
const maxBytes = 150;

/** Names in the folder of a batch that are no results. */
const reserved = new Set(['index.html', 'night.csv', 'night.log', 'night-list.jsonl']);

/**
 * Name of a stack's result folder, one folder for all: `monday/bee` becomes `monday--bee`, and the part of
 * `card` that begins with IMG_0001 becomes `card@IMG_0001`. Different stacks have different names: where the
 * signs that join the parts occur in a folder's own name, a few digits of its hash are added.
 *
 * @param key Path of the folder below the root with forward slashes, `.` for the root itself, and behind
 *   `@` the first frame of a part.
 * @param rootName Name of the root folder, for the stack that lies in it directly.
 */
export function resultName(key: string, rootName: string): string {
  const [path, first] = splitKey(key);
  const parts = path === '.' ? [rootName] : path.split('/');
  const name = [parts.join('--'), ...(first === undefined ? [] : [first])].join('@');
  const isPlain =
    parts.every((part) => !/--|^-|-$|^\.|@/.test(part)) &&
    !(path !== '.' && parts.length === 1 && parts[0] === rootName) &&
    !(first !== undefined && /[@/]/.test(first)) &&
    !reserved.has(name.toLowerCase()) &&
    Buffer.byteLength(name) <= maxBytes;
  if (isPlain) return name;
  const digits = createHash('sha256').update(key).digest('hex').slice(0, 8);
  return `${shorten(name.replace(/^\.+/, ''))}-${digits}`;
}

/** The key of a stack: its folder below the root, and the stem of a part's first frame. */
export function stackKey(relativePath: string, firstFrame?: string): string {
  const path = relativePath === '' ? '.' : relativePath.split('\\').join('/');
  return firstFrame === undefined ? path : `${path}@${firstFrame}`;
}

function splitKey(key: string): [string, string | undefined] {
  const at = key.lastIndexOf('@');
  // A folder may have the sign in its name; a first frame never holds a slash.
  return at === -1 || key.slice(at).includes('/') ? [key, undefined] : [key.slice(0, at), key.slice(at + 1)];
}

function shorten(name: string): string {
  let short = name;
  while (Buffer.byteLength(short) > maxBytes) short = short.slice(0, -1);
  // Not half of a pair that makes one character.
  return short.replace(/[\ud800-\udbff]$/, '');
}

import { readFile } from 'node:fs/promises';
import { posix } from 'node:path';
import type { Answer } from '../view/local-server.js';
import { pageHtml } from './page-html.js';
import { pageStyle } from './page-style.js';

// From dist also when this file runs from its source, as in tests.
const builtFolder = new URL('../../dist/', import.meta.url);
const firstScript = 'desk/page/main.js';

/** Scripts by address: what the page's first one imports, read once. No part of an address ever becomes a path. */
let scripts: Promise<Map<string, string>> | undefined;

/** A file of the desk's page; undefined for an address that is none. */
export async function pageFile(path: string): Promise<Answer | undefined> {
  if (path === '/style.css') return { status: 200, type: 'text/css; charset=utf-8', body: pageStyle };
  scripts ??= readScripts();
  const all = await scripts;
  if (path === '/') {
    return { status: 200, type: 'text/html; charset=utf-8', body: pageHtml(firstScript, [...all.keys()]) };
  }
  const body = all.get(path.slice(1));
  return body === undefined ? undefined : { status: 200, type: 'text/javascript; charset=utf-8', body };
}

async function readScripts(): Promise<Map<string, string>> {
  const found = new Map<string, string>();
  const follow = async (path: string): Promise<void> => {
    if (found.has(path)) return;
    found.set(path, '');
    const text = await readFile(new URL(path, builtFolder), 'utf8');
    found.set(path, text.replace(/^\/\/# sourceMappingURL=.*$/m, ''));
    for (const [, target] of text.matchAll(/(?:\bfrom|\bimport) ?["'](\.{1,2}\/[^"']+\.js)["']/g)) {
      await follow(posix.join(posix.dirname(path), target));
    }
  };
  await follow(firstScript);
  return found;
}

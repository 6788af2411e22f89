import { readFile } from 'node:fs/promises';
import { posix } from 'node:path';
import type { Answer } from '../view/local-server.js';
import { pageHtml } from './page-html.js';
import { pageStyle } from './page-style.js';

// From dist also when this file runs from its source, as in tests.
const builtFolder = new URL('../../dist/', import.meta.url);
const firstScript = 'desk/page/main.js';

/** A script of the page. */
interface Script {
  text: string;
  /** Whether it is loaded only when it is asked for: imported by a call. */
  isLate: boolean;
}

/** Scripts by address: what the page's first one imports, read once. No part of an address ever becomes a path. */
let scripts: Promise<Map<string, Script>> | undefined;

/** A file of the desk's page; undefined for an address that is none. */
export async function pageFile(path: string): Promise<Answer | undefined> {
  if (path === '/style.css') return { status: 200, type: 'text/css; charset=utf-8', body: pageStyle };
  scripts ??= readScripts();
  const all = await scripts;
  if (path === '/') {
    const early = [...all].flatMap(([name, { isLate }]) => (isLate ? [] : [name]));
    return { status: 200, type: 'text/html; charset=utf-8', body: pageHtml(firstScript, early) };
  }
  const body = all.get(path.slice(1))?.text;
  return body === undefined ? undefined : { status: 200, type: 'text/javascript; charset=utf-8', body };
}

/** Comments that have lines of their own are for who reads the source; those of a licence stay. */
function withoutComments(script: string): string {
  return script
    .replace(/^[ \t]*\/\*\*(?!\s*\* @license)[\s\S]*?\*\/\n/gm, '')
    .replace(/^[ \t]*\/\/.*\n?/gm, '');
}

async function readScripts(): Promise<Map<string, Script>> {
  const found = new Map<string, Script>();
  const late: string[] = [];
  const follow = async (path: string, isLate: boolean): Promise<void> => {
    if (found.has(path)) return;
    const script = { text: '', isLate };
    found.set(path, script);
    const text = await readFile(new URL(path, builtFolder), 'utf8');
    script.text = withoutComments(text);
    const imports = /(?:\bfrom ?|\bimport ?(\(?))["'](\.{1,2}\/[^"']+\.js)["']/g;
    for (const [, call, target] of text.matchAll(imports)) {
      const address = posix.join(posix.dirname(path), target);
      if (call) late.push(address);
      else await follow(address, isLate);
    }
  };
  await follow(firstScript, false);
  // After all others: what is imported both ways is not late.
  for (const path of late) await follow(path, true);
  return found;
}

import { readFileSync } from 'node:fs';
import { SourceMap } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

/** A place in a file, as a stack names it. */
const place = /(file:\/\/\S+?\.js):(\d+):(\d+)/g;

/**
 * The stack of an error with places in bundles replaced by those of the modules that the bundles were made of; others stay as
 * they are.
 */
export function compiledStack(stack: string): string {
  const maps = new Map<string, SourceMap | undefined>();
  return stack.replace(place, (given, url: string, line: string, column: string) => {
    if (!maps.has(url)) maps.set(url, mapOf(url));
    const found = maps.get(url)?.findEntry(Number(line) - 1, Number(column) - 1);
    if (!found || !('originalSource' in found)) return given;
    const source = join(dirname(fileURLToPath(url)), found.originalSource);
    return `${source}:${found.originalLine + 1}:${found.originalColumn + 1}`;
  });
}

function mapOf(url: string): SourceMap | undefined {
  try {
    return new SourceMap(JSON.parse(readFileSync(new URL(`${url}.map`), 'utf8')));
  } catch {
    // Not a bundle.
    return undefined;
  }
}

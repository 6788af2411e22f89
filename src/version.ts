import { readFileSync } from 'node:fs';

/** The version that package.json gives. */
export function programVersion(): string {
  const manifest: unknown = JSON.parse(readFileSync(new URL('../package.json', import.meta.url), 'utf8'));
  return String((manifest as { version: unknown }).version);
}

import { existsSync } from 'node:fs';
import { realpath } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import type { Root } from './roots.js';

/** Where `npm start` puts the sample stack. */
const sampleFolder = fileURLToPath(new URL('../../.cache/sample', import.meta.url));

/** The sample stack as a place, where it was rendered. */
export async function sampleRoot(): Promise<Root | undefined> {
  if (!existsSync(`${sampleFolder}/frames`)) return undefined;
  return { name: 'Sample', path: await realpath(sampleFolder) };
}

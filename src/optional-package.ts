import { readFileSync } from 'node:fs';

interface Manifest {
  optionalDependencies: Record<string, string>;
  peerDependencies: Record<string, string>;
}

/** An optional package as npm is asked for it: its name and the major version that Lamella works with. */
export function optionalPackage(name: string): string {
  const manifest: unknown = JSON.parse(readFileSync(new URL('../package.json', import.meta.url), 'utf8'));
  const { optionalDependencies, peerDependencies } = manifest as Manifest;
  const range = { ...peerDependencies, ...optionalDependencies }[name];
  return `${name}@${/\d+/.exec(range ?? '')?.[0] ?? 'latest'}`;
}

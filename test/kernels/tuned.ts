import { readFileSync } from 'node:fs';

/** Numbers that are tuned on pictures, from where they stand: tests hold the formulas. Throws when there is no such name. */
export function tunedIn(file: string): (name: string) => number {
  const source = readFileSync(new URL(`../../src/kernels/assembly/${file}.ts`, import.meta.url), 'utf8');
  return (name) => {
    const found = source.match(new RegExp(`^const ${name}: (?:f32|i32) = (.+);`, 'm'));
    if (!found) throw new Error(`Expected a number ${name} in ${file}.ts but received none`);
    return Number(found[1]);
  };
}

import { readFileSync } from 'node:fs';

/** Numbers that are tuned on pictures, from where they stand: tests hold the formulas. Throws when there is no such name. */
export function tunedIn(...files: string[]): (name: string) => number {
  const source = files
    .map((file) => readFileSync(new URL(`../../src/kernels/assembly/${file}.ts`, import.meta.url), 'utf8'))
    .join('\n');
  return (name) => {
    const found = source.match(new RegExp(`^(?:export )?const ${name}: (?:f32|i32) = (.+);`, 'm'));
    if (!found) throw new Error(`Expected a number ${name} in ${files.join(', ')} but received none`);
    return Number(found[1]);
  };
}

import { expect, test } from 'vitest';
import { runCli } from '../src/cli/run.js';
import { printable, printableLines } from '../src/printable.js';
import { fakeSystem } from './cli/fake-system.js';

test('nothing that a terminal obeys is left, and every other character stays', () => {
  // ECMA-48: C0, DEL and C1 are controls; UAX #9: the marks that embed, override and isolate a direction.
  for (let code = 0; code < 0x2100; code++) {
    const letter = String.fromCharCode(code);
    const isControl = /[\p{Cc}\p{Zl}\p{Zp}]/u.test(letter) || /[\u202a-\u202e\u2066-\u2069]/.test(letter);
    const shown = printable(letter);
    if (isControl && letter !== '\t') expect(shown).toMatch(/^\\(x[0-9a-f]{2}|u[0-9a-f]{4})$/);
    else expect(shown).toBe(letter);
  }
  expect(printableLines('a\nb\rc')).toBe('a\nb\\x0dc');
});

test('an argument with a line feed is refused on one line', async () => {
  for (const args of [
    ['merge', '/no\nlamella: done'],
    ['merge', 'x', '--no\nlamella: done'],
    ['--no\nlamella: done'],
  ]) {
    const system = fakeSystem((await import('../src/mend/merge.js')).merge);
    expect(await runCli(args, '1.2.3', system)).toBeGreaterThan(1);
    expect(system.stderr.text.split('\n').filter((line) => line.startsWith('lamella: done'))).toEqual([]);
    expect(system.stderr.text).toContain('no\\x0alamella: done');
  }
});

import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { flagName } from '../src/cli/flag-names.js';
import { InputError, named, type OutputError } from '../src/errors.js';
import { callOptions, optionName } from '../src/option-names.js';
import { asOutputError, outputElsewhere, outputInPlace } from '../src/result/output-failure.js';

const source = join(import.meta.dirname, '../src');

describe('texts of the library', () => {
  test.each(libraryFiles())('%s names no flag of the command line', (name) => {
    expect(flagsInTexts(readFileSync(join(source, name), 'utf8'))).toEqual([]);
  });

  test('the search finds a flag in each kind of text, and takes no property of a style for one', () => {
    const code = [
      "const plain = 'choose another place with --out.';",
      'const whole = `use fewer --threads`;',
      'const parted = `leave out frames with --skip and their numbers`;',
      "const style = ':root { --ink: #000; } p { color: var(--ink); }';",
      "styleOf(page).getPropertyValue('--ink');",
      '// --step in a comment',
      'left--; // --until none is left',
    ].join('\n');
    expect(flagsInTexts(code)).toEqual(['--out', '--threads', '--skip']);
  });
});

describe('names of options', () => {
  let callAsBefore = () => {};
  afterEach(() => callAsBefore());

  test('a program reads fields, in errors and in other texts', () => {
    expect(optionName('memoryMb')).toBe('memoryMb');
    expect(new InputError(`Allow more with ${named('memoryMb')}.`).message).toBe('Allow more with memoryMb.');
  });

  test('a command line reads flags, in errors and in other texts', () => {
    callAsBefore = callOptions((option) => flagName(option));
    expect(optionName('memoryMb')).toBe('--memory');
    expect(new InputError(`Allow more with ${named('framesFrom')}.`).message).toBe(
      'Allow more with --frames-from.',
    );
  });

  test.each(['ENOSPC', 'EROFS', 'ENAMETOOLONG', 'ENOENT', 'EBUSY', 'EMFILE', 'E2BIG'])(
    '%s: the option of the file is named, and none where no other place can be chosen',
    (code) => {
      const failure = asOutputError(Object.assign(new Error('failed'), { code }), '/out/.aside');
      const elsewhere = outputElsewhere(failure, {
        aside: '/out/.aside',
        path: '/out/x.html',
        option: 'page',
      });
      const told = (error: unknown): string =>
        (error as OutputError).messageWith((option) => flagName(option));
      expect(told(elsewhere)).toContain('Cannot write /out/x.html: ');
      expect(told(elsewhere).replaceAll('--page', '--out')).toBe(
        told(failure).replace('/out/.aside', '/out/x.html'),
      );
      expect(told(elsewhere)).not.toContain('--out');
      expect(told(outputInPlace(failure))).not.toMatch(/--|hoose another place|\p{Co}/u);
    },
  );
});

/** Paths below src of what is no part of the command line and no page of the guide. */
function libraryFiles(): string[] {
  return readdirSync(source, { recursive: true, encoding: 'utf8' }).filter(
    (name) => name.endsWith('.ts') && !/^(cli|guide)\//.test(name),
  );
}

/** What looks like a flag outside of comments, but for the properties of style sheets and flags of the engine. */
function flagsInTexts(code: string): string[] {
  const text = code
    .replace(/^\s*\/?\*.*$|^\s*\/\/.*$|\s\/\/ .*$/gm, '')
    .replace(/var\(--[\w-]+|--[\w-]+:|getPropertyValue\('--[\w-]+|setFlagsFromString\(`--[\w-]+/g, '');
  return text.match(/(?<![\w-])--[a-z][a-z-]*/g) ?? [];
}

import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { commands } from '../../src/cli/commands.js';
import { runCli } from '../../src/cli/run.js';
import { exitCodes } from '../../src/errors.js';
import { updateOptionTables } from '../../src/guide/option-tables.js';
import { pageText } from '../../src/guide/page-text.js';
import { guideFiles, guideTopics, readGuidePage } from '../../src/guide/pages.js';
import { coverageClassNames } from '../../src/result/coverage.js';
import { fakeSystem } from '../cli/fake-system.js';

const made = commands.map((make) => make(fakeSystem()));
const root = new URL('../../', import.meta.url);
const readme = readFileSync(new URL('README.md', root), 'utf8');
const pages = guideTopics.map(readGuidePage);

async function help(...words: string[]) {
  const system = fakeSystem();
  const exitCode = await runCli(['help', ...words], '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

describe('the guide', () => {
  it('lists every page that there is, once', () => {
    expect([...guideFiles()].sort()).toEqual([...guideTopics].sort());
  });

  it.each(guideTopics)('has up-to-date tables of options on the page %s', (topic) => {
    const { text } = readGuidePage(topic);
    // "npm run guide" brings them up to date.
    expect(updateOptionTables(text, made)).toBe(text);
  });

  it('has every option of every command in a table', () => {
    const text = pages.map((page) => page.text).join('\n');
    for (const command of made) {
      expect(text).toContain(`<!-- options of ${command.name()} -->`);
      for (const { long } of command.options)
        expect(text, long).toMatch(new RegExp(`^\\| \`${long}[ \`]`, 'm'));
    }
  });

  it('calls only commands and options that there are, in examples and in sentences', () => {
    const all = [readme, ...pages.map((page) => page.text)].join('\n');
    const named = new Set(made.flatMap((command) => command.options.map(({ long }) => long)));
    for (const [, command, rest] of all.matchAll(/(?:^|`)(?:npx )?lamella ([a-z]+)([^\n`]*)/gm)) {
      const known = made.find((candidate) => candidate.name() === command);
      expect(known ?? (command === 'help' ? {} : undefined), `lamella ${command}`).toBeDefined();
      for (const [flag] of rest.matchAll(/(?<= )--[a-z][a-z-]*/g)) {
        const flags = [...(known?.options.map(({ long }) => long) ?? []), '--help'];
        expect(flags, `lamella ${command} ${flag}`).toContain(flag);
      }
    }
    for (const [, flag] of all.matchAll(/`(--[a-z][a-z-]*)/g)) {
      expect([...named, '--help'], flag).toContain(flag);
    }
  });

  it('has every exit code in a table', () => {
    const { text } = readGuidePage('exit-codes');
    const codes = [...text.matchAll(/^\| (\d+) \|/gm)].map(([, code]) => Number(code));
    expect(codes).toEqual(Object.values(exitCodes));
  });

  it('has every class of coverage in a table of the maps', () => {
    const { text } = readGuidePage('maps');
    for (const name of coverageClassNames) {
      // `before-first` is called "before the first frame" there.
      const words = name.replace('first', 'the-first').replace('last', 'the-last').split('-').join('[ -]');
      expect(text, name).toMatch(new RegExp(`^\\| (in a )?${words}`, 'm'));
    }
  });

  it('names pages that there are', () => {
    const all = [readme, ...pages.map((page) => page.text)].join('\n');
    for (const [, topic] of all.matchAll(/(?:lamella help|pages?) `?([a-z-]+)`/g)) {
      expect([...guideTopics, ...made.map((command) => command.name())], topic).toContain(topic);
    }
    for (const [, path] of readme.matchAll(/\]\(([^)#:]+)\)/g)) {
      expect(existsSync(new URL(path, root)), path).toBe(true);
    }
    for (const topic of guideTopics) expect(readme).toContain(`(src/guide/${topic}.md)`);
  });
});

describe('lamella help', () => {
  it('lists the commands and every topic with its title', async () => {
    const { exitCode, stdout, stderr } = await help();
    expect(exitCode).toBe(0);
    expect(stderr).toBe('');
    expect(stdout).toContain('Usage: lamella');
    for (const { topic, title } of pages) expect(stdout).toMatch(new RegExp(`^ {2}${topic} +${title}$`, 'm'));
  });

  it.each(guideTopics)('shows the page %s in lines that a terminal holds', async (topic) => {
    const { exitCode, stdout } = await help(topic);
    expect(exitCode).toBe(0);
    const { text, title } = readGuidePage(topic);
    expect(stdout.startsWith(`${title}\n${'='.repeat(title.length)}\n`)).toBe(true);
    // Code is shown as it is; all else is wrapped.
    const wrapped = stdout.split('\n').filter((line) => !line.startsWith('    '));
    for (const line of wrapped) expect(line.length, line).toBeLessThanOrEqual(100);
    expect(stdout).not.toMatch(/\*\*|<!--|\]\(|^\|/m);
    // Nothing is lost but the heads of tables: every word of the page is there.
    const heads = /^\|.*\|\n(?=\| ---)/gm;
    const prose = text.replace(/<!--.*?-->|^```\w*$/gm, ' ').replace(heads, ' ');
    const shown = new Set(stdout.match(/\p{L}+/gu));
    expect(prose.match(/\p{L}+/gu)?.filter((word) => !shown.has(word))).toEqual([]);
  });

  it('of a word that is neither command nor topic is a usage error', async () => {
    const { exitCode, stderr } = await help('mreging');
    expect(exitCode).toBe(2);
    expect(stderr).toContain("unknown command 'mreging'");
  });
});

describe('a page as text', () => {
  it('wraps words, lists the rows of a table, keeps code, and drops marks', () => {
    const page =
      '# A & B\n\nSome **bold** `--flag <N>` and [a link](x.md) that goes on for long.\n\n- one\n- two\n\n| o | m |\n| --- | --- |\n| `--crop <a\\|b>` | cuts |\n\n```sh\nlamella   help\n```\n';
    expect(pageText(page, 40)).toBe(
      'A & B\n=====\n\nSome bold --flag <N> and a link that\ngoes on for long.\n\n- one\n- two\n\n  --crop <a|b>\n      cuts\n\n    lamella   help\n',
    );
  });
});

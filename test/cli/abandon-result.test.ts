import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { abandonResult } from '../../src/cli/abandon-result.js';
import { unfinishedPath } from '../../src/result/unfinished.js';

let folder: string;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'lamella-abandon-'));
});

afterEach(() => rmSync(folder, { recursive: true }));

function makeFolder(path: string, content: string): void {
  mkdirSync(path);
  writeFileSync(join(path, 'run.json'), content);
}

describe('abandoning a result', () => {
  it('removes what this process was writing and touches nothing else', () => {
    const out = join(folder, 'bee-merged');
    const ofAnother = unfinishedPath(out, 'partial').replace(`-${process.pid}-`, `-${process.pid + 1}-`);
    const ofAnotherResult = unfinishedPath(join(folder, 'bee'), 'partial');
    makeFolder(unfinishedPath(out, 'partial'), 'half');
    for (const path of [out, ofAnother, ofAnotherResult]) makeFolder(path, 'whole');
    abandonResult(out);
    expect(readdirSync(folder).sort()).toEqual(
      [ofAnother, ofAnotherResult, out].map((path) => basename(path)).sort(),
    );
  });

  it('puts the former result back when it was just being replaced', () => {
    const out = join(folder, 'bee-merged');
    makeFolder(unfinishedPath(out, 'old'), 'former');
    makeFolder(unfinishedPath(out, 'partial'), 'half');
    abandonResult(out);
    expect(readdirSync(folder)).toEqual(['bee-merged']);
    expect(readFileSync(join(out, 'run.json'), 'utf8')).toBe('former');
  });

  it('keeps the new result when that has arrived', () => {
    const out = join(folder, 'bee-merged');
    makeFolder(unfinishedPath(out, 'old'), 'former');
    makeFolder(out, 'new');
    abandonResult(out);
    expect(readdirSync(folder)).toEqual(['bee-merged']);
    expect(readFileSync(join(out, 'run.json'), 'utf8')).toBe('new');
  });

  it('follows a link to where the result is written', () => {
    mkdirSync(join(folder, 'disk'));
    const place = join(folder, 'disk', 'bee-merged');
    makeFolder(place, 'former');
    makeFolder(unfinishedPath(place, 'partial'), 'half');
    symlinkSync(place, join(folder, 'link'));
    abandonResult(join(folder, 'link'));
    expect(readdirSync(join(folder, 'disk'))).toEqual(['bee-merged']);
  });

  it('does not fail where there is nothing', () => {
    expect(() => abandonResult(join(folder, 'no', 'such', 'place'))).not.toThrow();
  });
});

import { expect, test } from 'vitest';
import { asOutputError, outputElsewhere, outputInPlace } from '../../src/result/output-failure.js';

function failed(code: string): unknown {
  return asOutputError(Object.assign(new Error(code), { code }), '/photos/.aside.png');
}

function messageOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}

test.each(['EACCES', 'ENOSPC', 'EPERM', 'EROFS', 'EIO', 'EBUSY', 'ENAMETOOLONG', 'EXYZ'])(
  'after %s no advice is given that cannot be followed',
  (code) => {
    const inPlace = messageOf(outputInPlace(failed(code)));
    expect(inPlace).not.toMatch(/another place|with out\b/);
    expect(inPlace).toMatch(/^Cannot write .*[\w)]\.$/);
    const options = { aside: '/photos/.aside.png', path: '/photos/eye.png', option: 'crops' };
    const elsewhere = messageOf(outputElsewhere(failed(code), options));
    expect(elsewhere).not.toMatch(/with out\b|aside/);
    expect(elsewhere).toContain('/photos/eye.png');
  },
);

test('what is no failure of writing passes unchanged', () => {
  const bug = new TypeError('undefined is not a function');
  expect(outputInPlace(bug)).toBe(bug);
  expect(outputElsewhere(bug, { aside: 'a', path: 'b', option: 'crops' })).toBe(bug);
});

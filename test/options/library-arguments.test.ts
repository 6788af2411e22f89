import { describe, expect, it } from 'vitest';
import * as library from '../../src/index.js';
import { makeResult } from '../mend/made-result.js';

/** As a program without types may call it. */
// biome-ignore lint/suspicious/noExplicitAny: what the compiler would refuse is what is tried.
const { check, merge, mergePixels, plan, readResult, runBatch, traceRegion, undoMends } = library as any;

describe('what is no path, no options and no frames is refused by its name:', () => {
  it.each<[string, () => unknown, string]>([
    ['merge of nothing', () => merge(), 'the path of a folder for folder but received undefined'],
    ['merge with null', () => merge('bee', null), 'an object of options but received null'],
    ['merge into a number', () => merge('bee', { out: 3 }), 'the path of a folder for out but received 3'],
    ['check of nothing', () => check(), 'the path of a folder for folder but received undefined'],
    ['check with a text', () => check('bee', '--quiet'), 'an object of options but received --quiet'],
    ['plan of nothing', () => plan(), 'an object of options but received undefined'],
    ['a result by number', () => readResult(5), 'the path of a folder for result but received 5'],
    ['undo of nothing', () => undoMends(), 'the path of a folder for result but received undefined'],
    [
      'batch of nothing',
      () => runBatch(undefined, {}),
      'the path of a folder for root but received undefined',
    ],
    ['frames that are a number', () => mergePixels(5), 'for frames but received 5'],
    ['frames that are missing', () => mergePixels(), 'for frames but received undefined'],
  ])('%s', async (_what, call, message) => {
    const error = await (async () => call())().then(
      () => expect.fail('accepted'),
      (failure: unknown) => failure,
    );
    expect(error).toBeInstanceOf(library.UsageError);
    expect((error as Error).message).toContain(message);
  });

  it('a region that is missing', async () => {
    const { folder } = await makeResult();
    await expect(traceRegion(folder)).rejects.toThrow('for region but received undefined');
  });
});

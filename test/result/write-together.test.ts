import { expect, test } from 'vitest';
import { writeTogether } from '../../src/result/write-together.js';

test('writers are all waited for, and the first in their order that failed is told', async () => {
  const ended: string[] = [];
  const writer = async (name: string, turns: number, fails = false): Promise<string> => {
    for (let i = 0; i < turns; i++) await Promise.resolve();
    ended.push(name);
    if (fails) throw new Error(name);
    return name;
  };
  expect(await writeTogether([writer('a', 5), writer('b', 1)])).toEqual(['a', 'b']);
  const failing = writeTogether([
    writer('c', 3),
    writer('d', 9, true),
    writer('e', 1, true),
    writer('f', 20),
  ]);
  await expect(failing).rejects.toThrow('d');
  expect(ended).toEqual(['b', 'a', 'e', 'c', 'd', 'f']);
});

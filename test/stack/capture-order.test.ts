import { describe, expect, it } from 'vitest';
import { captureOrder, type GivenOrder } from '../../src/stack/capture-order.js';

/** Photographs in the order of listing: name and capture time in seconds, undefined for none. */
const order = (...photographs: [name: string, takenS?: number][]) => orderBy(undefined, ...photographs);

const orderBy = (given: GivenOrder | undefined, ...photographs: [name: string, takenS?: number][]) => {
  const result = captureOrder(
    photographs.map(([name, takenS]) => ({
      name,
      exif: takenS === undefined ? {} : { takenMs: takenS * 1000 },
    })),
    given,
  );
  return { names: result.ordered.map((item) => item.name), by: result.orderedBy, note: result.note?.message };
};

describe('capture order', () => {
  it('goes by capture time where every frame has its own', () => {
    const { names, by, note } = order(['a', 2], ['b', 1], ['c', 3]);
    expect(names).toEqual(['b', 'a', 'c']);
    expect(by).toBe('exif time');
    expect(note).toMatch(/differs from the order of their names/);
  });

  it('says nothing where time and names agree', () => {
    expect(order(['b9', 2], ['b10', 3], ['b1', 1])).toEqual({
      names: ['b1', 'b9', 'b10'],
      by: 'exif time',
      note: undefined,
    });
  });

  it('tells frames of one second apart by sub-seconds', () => {
    expect(order(['a', 5.25], ['b', 5.0], ['c', 5.5]).names).toEqual(['b', 'a', 'c']);
  });

  it('follows a file counter that rolls over', () => {
    const { names, note } = order(['IMG_0001', 30], ['IMG_0002', 40], ['IMG_9998', 10], ['IMG_9999', 20]);
    expect(names).toEqual(['IMG_9998', 'IMG_9999', 'IMG_0001', 'IMG_0002']);
    expect(note).toMatch(/begin with IMG_9998/);
  });

  it('follows a roll-over in a burst whose clock knows whole seconds only', () => {
    const { names, by } = order(['9998', 1], ['9999', 2], ['0001', 2], ['0002', 2], ['0003', 3]);
    expect(names).toEqual(['9998', '9999', '0001', '0002', '0003']);
    expect(by).toBe('exif time');
  });

  it('goes by name inside equal seconds where the rest agrees', () => {
    const { names, by } = order(['c10', 2], ['c9', 2], ['c1', 1], ['c2', 1]);
    expect(names).toEqual(['c1', 'c2', 'c9', 'c10']);
    expect(by).toBe('exif time');
  });

  it('goes by name where equal times and names contradict each other', () => {
    const { names, by, note } = order(['a', 3], ['b', 1], ['c', 1], ['d', 2], ['e', 1]);
    expect(names).toEqual(['a', 'b', 'c', 'd', 'e']);
    expect(by).toBe('name');
    expect(note).toMatch(/share a capture time/);
  });

  it('does not take a single step backwards for a roll-over when the ends do not join', () => {
    expect(order(['a', 3], ['b', 1], ['c', 1], ['d', 5])).toMatchObject({
      names: ['a', 'b', 'c', 'd'],
      by: 'name',
    });
  });

  it('goes by name where a time is missing, or all are equal', () => {
    const missing = order(['b', 1], ['a'], ['c', 0]);
    expect(missing).toMatchObject({ names: ['a', 'b', 'c'], by: 'name' });
    expect(missing.note).toMatch(/1 of 3 have no capture time/);
    expect(order(['b', 7], ['a', 7])).toEqual({ names: ['a', 'b'], by: 'name', note: undefined });
    expect(order(['b'], ['a'])).toEqual({ names: ['a', 'b'], by: 'name', note: undefined });
  });

  it('lets the times of the others decide where a few have none, and those go by name', () => {
    const photographs: [string, number?][] = [9996, 9997, 9998, 9999, 1, 2, 3].map((number, i) => [
      `IMG_${String(number).padStart(4, '0')}`,
      i,
    ]);
    photographs[5] = ['IMG_0002'];
    const { names, by, note } = order(...photographs);
    expect(names).toEqual(photographs.map(([name]) => name));
    expect(by).toBe('exif time');
    expect(note).toMatch(/1 of 7 have no capture time and go by name/);
  });

  it('follows a counter that rolled over by the names alone', () => {
    const numbers = [9988, 9989, 9990, 9999, 0, 1, 11].map(
      (number) => `DSC${String(number).padStart(4, '0')}.jpg`,
    );
    const { names, by, note } = order(...numbers.map((name): [string] => [name]));
    expect(names).toEqual(numbers);
    expect(by).toBe('name');
    expect(note).toMatch(/beginning with DSC9988.jpg: their counter rolled over/);
  });

  it.each([
    ['the last number is gone', [9996, 9997, 9998, 0, 1, 2]],
    [
      'the frames about the end of the counter are gone',
      [9990, 9991, 9992, 9993, 9997, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17],
    ],
  ])('follows a counter that rolled over where %s', (_, numbers) => {
    const names = numbers.map((number) => `IMG_${String(number).padStart(4, '0')}.jpg`);
    expect(order(...names.map((name): [string] => [name])).names).toEqual(names);
  });

  it.each([
    ['numbers all over the range', ['f001', 'f300', 'f600', 'f999']],
    ['a run that does not end in nines', ['f001', 'f002', 'f997', 'f998']],
    ['names of two kinds', ['a001', 'a002', 'b998', 'b999']],
    ['a short counter', ['f01', 'f02', 'f98', 'f99']],
  ])('takes %s for no counter that rolled over', (_, names) => {
    expect(order(...names.map((name): [string] => [name])).names).toEqual(names);
  });
});

describe('an order that is given', () => {
  it('is that of the names, whatever the times are', () => {
    expect(orderBy('name', ['b', 1], ['a10', 2], ['a9', 3])).toEqual({
      names: ['a9', 'a10', 'b'],
      by: 'name',
      note: undefined,
    });
  });

  it('is that of the times, and of the names where times are equal, though they contradict each other', () => {
    const { names, by, note } = orderBy('time', ['a', 3], ['b', 1], ['c', 1], ['d', 2], ['e', 1]);
    expect(names).toEqual(['b', 'c', 'e', 'd', 'a']);
    expect(by).toBe('exif time');
    expect(note).toBeUndefined();
  });

  it('by time is refused with the names of those that have none', () => {
    expect(() => orderBy('time', ['a', 3], ['b'], ['c', 1])).toThrow(
      /for order but received time: b has none/,
    );
  });
});

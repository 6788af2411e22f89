import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { compareNames } from '../../src/stack/natural-order.js';

describe('natural order', () => {
  it('counts as people do', () => {
    const names = ['IMG_10.JPG', 'IMG_9.JPG', 'IMG_100.JPG', 'img_11.jpg', 'IMG_1.JPG'];
    expect(names.sort(compareNames)).toEqual([
      'IMG_1.JPG',
      'IMG_9.JPG',
      'IMG_10.JPG',
      'img_11.jpg',
      'IMG_100.JPG',
    ]);
  });

  it('does not depend on the order of listing, even for names that differ in case or zeros only', () => {
    const names = ['IMG_2.jpg', 'IMG_02.jpg', 'img_2.jpg', 'IMG_2.JPG', 'IMG_002.jpg', 'É.jpg', 'e.jpg'];
    const sorted = [...names].sort(compareNames);
    fc.assert(
      fc.property(fc.shuffledSubarray(names, { minLength: names.length }), (shuffled) => {
        expect([...shuffled].sort(compareNames)).toEqual(sorted);
      }),
    );
  });

  it('tells any two different names apart', () => {
    fc.assert(
      fc.property(fc.string(), fc.string(), (first, second) => {
        expect(Math.sign(compareNames(first, second)) + Math.sign(compareNames(second, first))).toBe(0);
        expect(compareNames(first, second) === 0).toBe(first === second);
      }),
    );
  });
});

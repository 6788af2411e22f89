import { describe, expect, test } from 'vitest';
import { fileCounter } from '../../src/check/file-numbers.js';

/** The counter of files with these numbers, as a camera writes them. */
const counterOf = (numbers: readonly number[], name = (text: string) => `IMG_${text}.JPG`) =>
  fileCounter(numbers.map((count, i) => ({ number: i + 1, name: name(String(count).padStart(4, '0')) })));

describe('the counter of file names', () => {
  test('names the files that are missing between two frames', () => {
    const counter = counterOf([11, 12, 13, 16, 17]);
    expect(counter?.missingBetween(1, 2)).toEqual([]);
    expect(counter?.missingBetween(3, 4)).toEqual(['IMG_0014', 'IMG_0015']);
  });

  test('counts on past its end, with and without a file of number 0', () => {
    expect(counterOf([9997, 9998, 1, 2, 3])?.missingBetween(2, 3)).toEqual(['IMG_9999']);
    expect(counterOf([9998, 9999, 1, 2, 3])?.missingBetween(2, 3)).toEqual([]);
    expect(counterOf([9998, 9999, 0, 1, 3])?.missingBetween(4, 5)).toEqual(['IMG_0002']);
  });

  test('may rise by two, as where raw files are numbered between', () => {
    const counter = counterOf([2, 4, 6, 10, 12]);
    expect(counter?.missingBetween(1, 2)).toEqual([]);
    expect(counter?.missingBetween(3, 4)).toEqual(['IMG_0008']);
  });

  test.each([
    ['names that differ elsewhere', ['a01.jpg', 'b02.jpg', 'a03.jpg']],
    ['names without numbers', ['one.jpg', 'two.jpg', 'three.jpg']],
    ['numbers of other widths', ['f8.jpg', 'f9.jpg', 'f10.jpg']],
    ['numbers that fall', ['f30.jpg', 'f20.jpg', 'f10.jpg']],
  ])('is none in %s', (_, names) => {
    expect(fileCounter(names.map((name, i) => ({ number: i + 1, name })))).toBeUndefined();
  });
});

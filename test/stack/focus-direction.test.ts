import { describe, expect, it } from 'vitest';
import { focusDirection } from '../../src/stack/focus-direction.js';

const frames = (...distances: (number | undefined)[]) =>
  distances.map((focusDistanceM) => ({ exif: focusDistanceM === undefined ? {} : { focusDistanceM } }));

describe('direction by the focused distance', () => {
  it.each([
    ['rises', frames(0.8, 1.1, 1.1, 2.5), 'near-to-far'],
    ['falls', frames(9, 2, 1), 'far-to-near'],
    ['differs in two frames', frames(1, 2), 'near-to-far'],
    ['stays, as on a rail', frames(0.3, 0.3, 0.3), undefined],
    ['is rounded differently once, as on a rail', frames(0.3, 0.3, 0.31, 0.31), undefined],
    ['turns back', frames(1, 2, 1.5, 3), undefined],
    ['ends where it began', frames(1, 2, 3, 1), undefined],
    ['is missing in one', frames(1, undefined, 3), undefined],
  ])('that %s', (_, stack, direction) => {
    const turned = { 'near-to-far': 'far-to-near', 'far-to-near': 'near-to-far' } as const;
    const told = (own: string | undefined) =>
      own === undefined ? { direction: 'unknown' } : { direction: own, directionBy: 'focused distances' };
    expect(focusDirection('auto', stack, 'unknown')).toEqual(told(direction));
    expect(focusDirection('auto', stack.toReversed(), 'unknown')).toEqual(
      told(direction && turned[direction as 'near-to-far' | 'far-to-near']),
    );
  });
});

it('growth tells the direction where distances do not, and the user before both', () => {
  const rising = frames(1, 2, 3);
  const still = frames(0.3, 0.3, 0.3);
  expect(focusDirection('auto', still, 'far-to-near')).toEqual({
    direction: 'far-to-near',
    directionBy: 'growth',
  });
  expect(focusDirection('auto', rising, 'far-to-near').direction).toBe('near-to-far');
  expect(focusDirection('far-to-near', rising, 'near-to-far')).toEqual({
    direction: 'far-to-near',
    directionBy: 'option',
  });
});

import { describe, expect, it } from 'vitest';
import { focusDirection } from '../../src/stack/focus-direction.js';

const frames = (...distances: (number | undefined)[]) =>
  distances.map((focusDistanceM) => ({ exif: focusDistanceM === undefined ? {} : { focusDistanceM } }));

describe('direction by the focused distance', () => {
  it.each([
    ['rises', frames(0.8, 1.1, 1.1, 2.5), 'near-to-far'],
    ['falls', frames(9, 2, 1), 'far-to-near'],
    ['stays, as on a rail', frames(0.3, 0.3, 0.3), undefined],
    ['turns back', frames(1, 2, 1.5, 3), undefined],
    ['is missing in one', frames(1, undefined, 3), undefined],
  ])('that %s', (_, stack, direction) => {
    expect(focusDirection(stack)).toBe(direction);
    const turned = { 'near-to-far': 'far-to-near', 'far-to-near': 'near-to-far' } as const;
    expect(focusDirection(stack.toReversed())).toBe(
      direction && turned[direction as 'near-to-far' | 'far-to-near'],
    );
  });
});

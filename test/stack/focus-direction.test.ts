import { describe, expect, it } from 'vitest';
import {
  directionOnRail,
  findDirection,
  type GivenDirection,
  type Growth,
  isContradicted,
  knownDirection,
  shownDirection,
} from '../../src/stack/focus-direction.js';

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
    const told = (own: string | undefined) => own && { direction: own, directionBy: 'focused distances' };
    expect(knownDirection('auto', stack)).toEqual(told(direction));
    expect(knownDirection('auto', stack.toReversed())).toEqual(
      told(direction && turned[direction as 'near-to-far' | 'far-to-near']),
    );
  });

  it('gives way to what the user says', () => {
    expect(knownDirection('far-to-near', frames(1, 2, 3))).toEqual({
      direction: 'far-to-near',
      directionBy: 'option',
    });
  });
});

const blurPx = 1.4;
const widthPx = 1600;
const rail = { widthPx };
const pictures = (z: number, agreement = 0.8) => ({ z, agreement, blocks: 60, blurPx });
const growth = (perFrame: number, sigma = 6e-6): Growth => ({ perFrame, sigma });

/** Step and growth of a rail: thin lens of 50 mm at f/5.6 and 2.5 times life size on pixels of 4 um, 1.4 px of blur a step. */
const railGrowth = (() => {
  const [focalMm, fNumber, magnification, pitchMm] = [50, 5.6, 2.5, 0.004];
  const distanceMm = focalMm * (1 + 1 / magnification);
  // c = (f / N) m d / u: E. Hecht, Optics, ch. 5.
  const stepMm = (2 * blurPx * pitchMm * distanceMm) / ((focalMm / fNumber) * magnification);
  return { stepMm, perFrame: stepMm / distanceMm };
})();

describe('direction by what the frames show', () => {
  it('is that of the pictures from three and a half standard errors on, whatever the growth', () => {
    for (const perFrame of [railGrowth.perFrame, -railGrowth.perFrame, 0.007, 0]) {
      const shown = { growth: growth(perFrame), pictures: pictures(3.6) };
      expect(shownDirection(shown, rail)).toMatchObject({
        direction: 'near-to-far',
        directionBy: 'pictures',
        directionEvidence: shown,
      });
      expect(shownDirection({ ...shown, pictures: pictures(-3.6) }, rail).direction).toBe('far-to-near');
    }
  });

  it('is not that of pictures that contradict themselves, or show too little', () => {
    for (const weak of [pictures(3.2), pictures(-3.2), pictures(6, 0.4), pictures(0, 0)]) {
      expect(shownDirection({ growth: growth(0), pictures: weak }, rail)).toEqual({
        direction: 'unknown',
        directionEvidence: { growth: growth(0), pictures: weak },
      });
    }
  });

  it('is that of the growth where the travel is given and the blur agrees with a rail', () => {
    const given = { ...rail, stepMm: railGrowth.stepMm };
    const by = (perFrame: number, z = 0, agreement = 0.8) =>
      shownDirection({ growth: growth(perFrame), pictures: pictures(z, agreement) }, given);
    expect(by(railGrowth.perFrame)).toMatchObject({ direction: 'near-to-far', directionBy: 'growth' });
    expect(by(-railGrowth.perFrame)).toMatchObject({ direction: 'far-to-near', directionBy: 'growth' });
    // Pictures that lean the other way contradict it only where they decide by themselves.
    for (const z of [2.5, -2.5, -3.2])
      expect(by(railGrowth.perFrame, z)).toMatchObject({ direction: 'near-to-far', directionBy: 'growth' });
    expect(by(railGrowth.perFrame, -6, 0.4)).toMatchObject({
      direction: 'near-to-far',
      directionBy: 'growth',
    });
    expect(by(railGrowth.perFrame, -3.3)).toMatchObject({
      direction: 'far-to-near',
      directionBy: 'pictures',
    });
    // A microscope's stage moves by 2 um, and its picture grows by next to nothing.
    const stage = { growth: growth(8e-6, 1e-6), pictures: pictures(0, 0) };
    expect(shownDirection(stage, { widthPx, stepMm: 0.002 }).direction).toBe('unknown');
  });

  it('is that of the growth without a travel where the pictures lean the same way, and only there', () => {
    const by = (sign: number, z: number, agreement?: number) =>
      shownDirection(
        { growth: growth(sign * railGrowth.perFrame), pictures: pictures(sign * z, agreement) },
        rail,
      );
    for (const sign of [1, -1]) {
      const direction = sign > 0 ? 'near-to-far' : 'far-to-near';
      // Odds of a growth alone, 9 to 1, times exp(z^2 / 2) are 226 and 160 to 1, where the pictures alone decide from 200.
      for (const shown of [by(sign, 2.54), by(sign, 6, 0.4)])
        expect(shown).toMatchObject({ direction, directionBy: 'growth' });
      for (const shown of [by(sign, 0), by(sign, 2.4), by(sign, -2.6), by(sign, -3.2), by(sign, -6, 0.4)])
        expect(shown.direction).toBe('unknown');
    }
  });

  it('is unknown by growth alone, of whatever size: a lens that is focused may breathe by as much', () => {
    for (let size = 1e-5; size < 0.1; size *= 1.3) {
      for (const perFrame of [size, -size]) {
        const shown = { growth: growth(perFrame, size / 100), pictures: pictures(0, 0) };
        expect(shownDirection(shown, rail)).toEqual({ direction: 'unknown', directionEvidence: shown });
      }
    }
    expect(shownDirection({}, rail).direction).toBe('unknown');
  });

  it('by the growth, if a rail moved the camera, is told where the growth is sure and blur does not speak against it', () => {
    const ifOnRail = (shown: Parameters<typeof shownDirection>[0]) => directionOnRail(shown, rail);
    const { perFrame } = railGrowth;
    expect(ifOnRail({ growth: growth(perFrame), pictures: pictures(0, 0) })).toBe('near-to-far');
    expect(ifOnRail({ growth: growth(-perFrame) })).toBe('far-to-near');
    expect(ifOnRail({ growth: growth(perFrame, perFrame / 3.5) })).toBeUndefined();
    expect(ifOnRail({ growth: growth(8e-6, 1e-6), pictures: pictures(0, 0) })).toBeUndefined();
    expect(ifOnRail({})).toBeUndefined();
  });

  it('is that of a sure growth where the travel of the rail is given and the distance can be one', () => {
    const { stepMm, perFrame } = railGrowth;
    const direction = (facts: { stepMm: number }, own: Growth) =>
      shownDirection({ growth: own }, { widthPx, ...facts }).direction;
    expect(direction({ stepMm }, growth(perFrame))).toBe('near-to-far');
    expect(direction({ stepMm }, growth(-perFrame))).toBe('far-to-near');
    expect(direction({ stepMm }, growth(perFrame, perFrame / 3.5))).toBe('unknown');
    expect(direction({ stepMm: 500 * stepMm }, growth(perFrame))).toBe('unknown');
    expect(direction({ stepMm: stepMm / 500 }, growth(perFrame))).toBe('unknown');
  });
});

describe('pictures against what is said', () => {
  const falls = frames(9, 2, 1);
  const isSaidOtherwise = (given: GivenDirection, z: number, agreement = 0.8) =>
    isContradicted(findDirection(given, falls, { pictures: pictures(z, agreement) }, rail));

  it('contradict it only where they are sure', () => {
    expect(isSaidOtherwise('near-to-far', -4.5)).toBe(true);
    expect(isSaidOtherwise('auto', 4.5)).toBe(true);
    for (const agreeing of [4.5, 3.2, 0, -3.2]) {
      expect(isSaidOtherwise('near-to-far', agreeing)).toBe(false);
      expect(isSaidOtherwise('auto', -agreeing)).toBe(false);
    }
    expect(isSaidOtherwise('near-to-far', -6, 0.2)).toBe(false);
  });

  it('do not overrule it', () => {
    const evidence = { pictures: pictures(6) };
    expect(findDirection('far-to-near', frames(1, 2, 3), evidence, rail)).toEqual({
      direction: 'far-to-near',
      directionBy: 'option',
      directionEvidence: evidence,
    });
    expect(findDirection('auto', falls, evidence, rail)).toMatchObject({
      direction: 'far-to-near',
      directionBy: 'focused distances',
    });
  });
});

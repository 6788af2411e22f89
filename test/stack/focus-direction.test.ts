import { describe, expect, it } from 'vitest';
import { type Growth, knownDirection, shownDirection } from '../../src/stack/focus-direction.js';

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
  it('is that of the pictures from four standard errors on, whatever the growth', () => {
    for (const perFrame of [railGrowth.perFrame, -railGrowth.perFrame, 0.007, 0]) {
      const shown = { growth: growth(perFrame), pictures: pictures(4.5) };
      expect(shownDirection(shown, rail)).toMatchObject({
        direction: 'near-to-far',
        directionBy: 'pictures',
        directionEvidence: shown,
      });
      expect(shownDirection({ ...shown, pictures: pictures(-4.5) }, rail).direction).toBe('far-to-near');
    }
  });

  it('is not that of pictures that contradict themselves, or show too little', () => {
    for (const weak of [pictures(3.9), pictures(-3.9), pictures(6, 0.2), pictures(0, 0)]) {
      expect(shownDirection({ growth: growth(0), pictures: weak }, rail)).toEqual({
        direction: 'unknown',
        directionEvidence: { growth: growth(0), pictures: weak },
      });
    }
  });

  it('is that of a growth whose size is that of a rail', () => {
    const by = (perFrame: number, z = 0) =>
      shownDirection({ growth: growth(perFrame), pictures: pictures(z) }, rail);
    expect(by(railGrowth.perFrame)).toMatchObject({ direction: 'near-to-far', directionBy: 'growth' });
    expect(by(-railGrowth.perFrame)).toMatchObject({ direction: 'far-to-near', directionBy: 'growth' });
    // Pictures that lean the other way leave it open.
    expect(by(railGrowth.perFrame, -2.5).direction).toBe('unknown');
    expect(by(railGrowth.perFrame, 2.5).direction).toBe('near-to-far');
  });

  it('is unknown by a growth that is a breathing lens, the noise of a microscope, or not sure', () => {
    const direction = (shown: Parameters<typeof shownDirection>[0], facts = rail) =>
      shownDirection(shown, facts).direction;
    // A phone: 6.3 % over 10 frames, a pupil of 2.4 mm behind 4.3 mm of focal length on 5.6 mm, focused down to 100 mm:
    // the blur of a frame is a ninth of 2.4 mm * 4.3 / 100 across, on 4000 px.
    const phone = { widthPx: 4000 };
    const phoneBlurPx = ((2.4 * 4.3) / 100 / 9 / 2) * (4000 / 5.6);
    for (const sign of [1, -1]) {
      const swept = {
        growth: growth((sign * 0.063) / 9),
        pictures: { ...pictures(0, 0), blurPx: phoneBlurPx },
      };
      expect(direction(swept, phone)).toBe('unknown');
      expect(direction({ growth: growth(sign * 8e-6, 1e-6), pictures: pictures(0, 0) })).toBe('unknown');
      expect(
        direction({
          growth: growth(sign * railGrowth.perFrame, railGrowth.perFrame / 3.5),
          pictures: pictures(0, 0),
        }),
      ).toBe('unknown');
    }
    // Nothing to hold it against.
    expect(direction({ growth: growth(railGrowth.perFrame) })).toBe('unknown');
    expect(direction({})).toBe('unknown');
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

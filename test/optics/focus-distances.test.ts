import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { focusDistances, hyperfocalM, zoneOfFocus } from '../../src/optics/focus-distances.js';

const foot = 0.3048;
const lens = (focalLengthMm: number, fNumber: number, circleMm: number) => ({
  focalLengthMm,
  fNumber,
  circleMm,
});

describe('the hyperfocal distance', () => {
  it.each([
    // A chart for c = 0.02 mm that reckons with exact stops (naturelyrics.com, depth-of-field chart): f, stops from f/1, feet.
    [12, 4, 5.94],
    [12, 5, 4.22],
    [12, 6, 2.99],
    [12, 8, 1.52],
    [12, 9, 1.08],
  ])('of %d mm, %d stops from f/1, is %f ft', (focal, stops, expected) => {
    expect(Math.abs(hyperfocalM(lens(focal, 2 ** (stops / 2), 0.02)) / foot - expected)).toBeLessThan(0.01);
  });

  it('of 70 mm with c = 0.021 mm is 29.2 m at f/8 and 10.6 m at f/22 (Hawkins and Avon, Photography, 1979)', () => {
    expect(Math.abs(hyperfocalM(lens(70, 8, 0.021)) - 29.2)).toBeLessThan(0.1);
    expect(Math.abs(hyperfocalM(lens(70, 22, 0.021)) - 10.6)).toBeLessThan(0.1);
    expect(Math.abs(zoneOfFocus(lens(70, 22, 0.021), 10.606).nearM - 5.338)).toBeLessThan(0.03);
  });
});

describe('the zone of sharpness', () => {
  it('of 12 mm f/8 at 2 ft is 1.2 to 5.95 ft (the same chart)', () => {
    const zone = zoneOfFocus(lens(12, 8, 0.02), 2 * foot);
    expect(zone.nearM / foot).toBeCloseTo(1.2, 2);
    expect(zone.farM / foot).toBeCloseTo(5.95, 2);
  });

  it('at the hyperfocal distance is from half of it to infinity', () => {
    const of = lens(24, 8, 0.03);
    const zone = zoneOfFocus(of, hyperfocalM(of));
    expect(zone.nearM / hyperfocalM(of)).toBeCloseTo(0.5, 9);
    expect(zone.farM).toBe(Infinity);
  });

  it('has the circle for its blur at both ends, traced through a thin lens', () => {
    const given = fc.record({
      focalLengthMm: fc.double({ min: 10, max: 200, noNaN: true }),
      fNumber: fc.double({ min: 1.4, max: 22, noNaN: true }),
      circleMm: fc.double({ min: 0.004, max: 0.04, noNaN: true }),
    });
    fc.assert(
      fc.property(given, fc.double({ min: 0.05, max: 0.9, noNaN: true }), (of, share) => {
        const focus = share * hyperfocalM(of);
        fc.pre(focus * 1000 > of.focalLengthMm * 1.5);
        const imageOf = (metres: number): number => 1 / (1 / of.focalLengthMm - 1 / (1000 * metres));
        const zone = zoneOfFocus(of, focus);
        for (const end of [zone.nearM, zone.farM]) {
          const sharpAt = imageOf(end);
          const blur = ((of.focalLengthMm / of.fNumber) * Math.abs(sharpAt - imageOf(focus))) / sharpAt;
          expect(blur / of.circleMm).toBeCloseTo(1, 4);
        }
      }),
    );
  });
});

describe('the list of focus distances', () => {
  it('without overlap is H, H/3, H/5, H/7 for a lens much shorter than they (a textbook series, from memory)', () => {
    const of = lens(10, 2, 0.001);
    const H = hyperfocalM(of);
    const list = focusDistances(of, H / 7.99, Infinity, 0);
    expect(list).toHaveLength(4);
    for (const [k, part] of [1, 3, 5, 7].entries()) {
      expect((list[k].focusM * part) / H).toBeCloseTo(1, 2);
      expect((list[k].nearM * (part + 1)) / H).toBeCloseTo(1, 2);
    }
  });

  it('covers what was asked, without gaps, with no frame too many', () => {
    const given = fc.record({
      focalLengthMm: fc.double({ min: 8, max: 100, noNaN: true }),
      fNumber: fc.double({ min: 1.4, max: 22, noNaN: true }),
      circleMm: fc.double({ min: 0.004, max: 0.04, noNaN: true }),
    });
    const near = fc.double({ min: 0.3, max: 20, noNaN: true });
    const far = fc.oneof(fc.constant(Infinity), fc.double({ min: 21, max: 1000, noNaN: true }));
    fc.assert(
      fc.property(
        given,
        near,
        far,
        fc.double({ min: 0, max: 0.8, noNaN: true }),
        (of, nearM, farM, overlap) => {
          const list = focusDistances(of, nearM, farM, overlap);
          fc.pre(list.length < 200);
          expect(list[0].farM).toBeGreaterThanOrEqual(farM === Infinity ? Infinity : farM * (1 - 1e-6));
          expect(list.at(-1)?.nearM).toBeLessThanOrEqual(nearM * (1 + 1e-6));
          for (let k = 1; k < list.length; k++) {
            expect(list[k].focusM).toBeLessThan(list[k - 1].focusM);
            expect(list[k].farM).toBeGreaterThanOrEqual(list[k - 1].nearM * (1 - 1e-6));
          }
          // One frame fewer at the overlap that was asked falls short, by depth of focus around each image plane.
          const place = (metres: number): number =>
            -Math.log(1 / (1 / of.focalLengthMm - 1 / (1000 * metres)));
          const q = (of.fNumber * of.circleMm) / of.focalLengthMm;
          const zone = Math.log((1 + q) / (1 - q));
          const fewer = list.length - 1;
          const reach = fewer * zone * (1 - overlap);
          expect(reach).toBeLessThan((place(farM) - place(nearM)) * (1 + 1e-6));
        },
      ),
    );
  });

  it('blurs neither end, the horizon among them, more than what lies halfway between frames, traced through a thin lens', () => {
    const given = fc.record({
      focalLengthMm: fc.double({ min: 8, max: 100, noNaN: true }),
      fNumber: fc.double({ min: 1.4, max: 22, noNaN: true }),
      circleMm: fc.double({ min: 0.004, max: 0.04, noNaN: true }),
    });
    const far = fc.oneof(fc.constant(Infinity), fc.double({ min: 21, max: 1000, noNaN: true }));
    const near = fc.double({ min: 0.3, max: 20, noNaN: true });
    const overlap = fc.double({ min: 0, max: 0.8, noNaN: true });
    fc.assert(
      fc.property(given, near, far, overlap, (of, nearM, farM, share) => {
        const list = focusDistances(of, nearM, farM, share);
        fc.pre(list.length < 200);
        const imageOf = (metres: number): number => 1 / (1 / of.focalLengthMm - 1 / (1000 * metres));
        /** Blur of a point over the circle, in a frame focused elsewhere. */
        const blur = (atM: number, focusM: number): number =>
          ((of.focalLengthMm / of.fNumber) * Math.abs(imageOf(atM) - imageOf(focusM))) /
          imageOf(atM) /
          of.circleMm;
        const ends = [blur(farM, list[0].focusM), blur(nearM, list.at(-1)!.focusM)];
        expect(ends[0]).toBeCloseTo(ends[1], 3);
        expect(Math.max(...ends)).toBeLessThanOrEqual((1 - share) * 1.02 + 1e-6);
        if (list.length > 1) {
          // Where two neighbours are equally blurred: halfway between their image distances.
          const image = (imageOf(list[0].focusM) + imageOf(list[1].focusM)) / 2;
          const halfway = 1 / (1 / of.focalLengthMm - 1 / image) / 1000;
          expect(ends[0]).toBeCloseTo(blur(halfway, list[0].focusM), 3);
        }
      }),
    );
  });

  it('keeps to the nearest distance of the lens, where that still makes the near end sharp', () => {
    const of = lens(24, 8, 0.03);
    const free = focusDistances(of, 0.4, Infinity, 0.3);
    const closest = free.at(-1)!.focusM * 1.03;
    const held = focusDistances(of, 0.4, Infinity, 0.3, closest);
    expect(held.at(-1)!.focusM).toBeCloseTo(closest, 6);
    expect(held.at(-1)!.nearM).toBeLessThan(0.4);
    expect(held[0].focusM).toBeGreaterThan(hyperfocalM(of));
    for (let k = 1; k < held.length; k++) expect(held[k].farM).toBeGreaterThan(held[k - 1].nearM);
    expect(focusDistances(of, 0.4, Infinity, 0.3, 0.1)).toEqual(free);
  });
});

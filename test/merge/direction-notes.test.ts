import { describe, expect, it } from 'vitest';
import { directionFindings } from '../../src/check/direction-findings.js';
import { directionNotes } from '../../src/merge/direction-notes.js';
import { optionName } from '../../src/option-names.js';
import { findDirection, type GivenDirection, type KnownDirection } from '../../src/stack/focus-direction.js';

const widthPx = 1600;
const still = [{ exif: {} }, { exif: {} }, { exif: {} }];
const focused = [0.8, 1.1, 2.5].map((focusDistanceM) => ({ exif: { focusDistanceM } }));

/** What merge and check say of a stack: in one text each. */
function said(
  given: GivenDirection,
  frames: typeof still,
  { z = 0, perFrame = 0, stepMm }: { z?: number; perFrame?: number; stepMm?: number },
): { direction: string; texts: string[] } {
  const rail = { widthPx, stepMm };
  const evidence = {
    pictures: { z, agreement: 0.8, blocks: 60, blurPx: 1.4 },
    growth: { perFrame, sigma: 6e-6 },
  };
  const way = findDirection(given, frames, evidence, rail);
  const findings = directionFindings(way, rail).map(({ message, advice }) => `${message} ${advice}`);
  return { direction: way.direction, texts: [directionNotes(way, rail).join(' '), findings.join(' ')] };
}

const asksForDirection = ({ texts }: { texts: string[] }) =>
  texts.map((text) => text.includes(optionName('direction')));

describe('the note about the direction option', () => {
  // Of a rail near life size and of a lens whose picture grows or shrinks by 6 % over 16 frames.
  const growths = { rail: 5e-4, 'lens that enlarges': 0.004, 'lens that reduces': -0.004, microscope: 0 };

  it('is left out where the pictures show the order, by rail and by lens, forwards and in reverse', () => {
    for (const growth of Object.values(growths)) {
      for (const [sign, order] of [
        [1, 'near-to-far'],
        [-1, 'far-to-near'],
      ] as const) {
        const shown = said('auto', still, { z: 6 * sign, perFrame: growth * sign });
        expect(shown.direction).toBe(order);
        expect(asksForDirection(shown)).toEqual([false, false]);
      }
    }
  });

  it('is left out where the user or the camera says the order, or the travel of the rail is given', () => {
    for (const order of ['near-to-far', 'far-to-near'] as KnownDirection[]) {
      expect(asksForDirection(said(order, still, {}))).toEqual([false, false]);
    }
    expect(asksForDirection(said('auto', focused, {}))).toEqual([false, false]);
    for (const sign of [1, -1]) {
      const given = said('auto', still, { perFrame: sign * growths.rail, stepMm: 0.035 });
      expect(given.direction).not.toBe('unknown');
      expect(asksForDirection(given)).toEqual([false, false]);
    }
  });

  it('is there where nothing shows the order, or growth alone bears the pictures out', () => {
    for (const perFrame of Object.values(growths)) {
      const open = said('auto', still, { perFrame });
      expect(open.direction).toBe('unknown');
      expect(asksForDirection(open)).toEqual([true, true]);
    }
    const leaning = said('auto', still, { z: 3, perFrame: growths.rail });
    expect(leaning.direction).toBe('near-to-far');
    expect(asksForDirection(leaning)).toEqual([true, true]);
  });
});

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { railPositions } from '../../src/plan/rail.js';

describe('knob readings', () => {
  it('of a rail of 16 turns an inch are 1.5875 mm a turn (25.4 / 16)', () => {
    const [, second, , , fifth] = railPositions(5, 25.4 / 16 / 4, {
      travelPerTurnMm: 1.5875,
      marksPerTurn: 100,
    });
    expect(second).toMatchObject({ turns: 0, degrees: 90, mark: 25 });
    expect(fifth).toMatchObject({ turns: 1, degrees: 0, mark: 0 });
  });

  it('lead back to the position within half of the last digit, and never show a full turn', () => {
    const given = fc.record({
      frames: fc.integer({ min: 1, max: 200 }),
      step: fc.double({ min: 0.001, max: 2, noNaN: true }),
      travelPerTurnMm: fc.double({ min: 0.1, max: 10, noNaN: true }),
      marksPerTurn: fc.integer({ min: 1, max: 500 }),
    });
    fc.assert(
      fc.property(given, ({ frames, step, travelPerTurnMm, marksPerTurn }) => {
        const positions = railPositions(frames, step, { travelPerTurnMm, marksPerTurn });
        expect(positions).toHaveLength(frames);
        for (const { frame, positionMm, turns, degrees, mark } of positions) {
          expect(positionMm).toBe((frame - 1) * step);
          const exact = (positionMm / travelPerTurnMm) * marksPerTurn;
          expect(Math.abs((turns as number) * marksPerTurn + (mark as number) - exact)).toBeLessThan(0.0501);
          expect(mark).toBeGreaterThanOrEqual(0);
          expect(mark).toBeLessThan(marksPerTurn);
          expect(degrees).toBeGreaterThanOrEqual(0);
          expect(degrees).toBeLessThan(360);
          const byAngle = ((turns as number) + (degrees as number) / 360) * travelPerTurnMm;
          const finest = Math.max(0.0501 / 360, 0.0501 / marksPerTurn) * travelPerTurnMm;
          expect(Math.abs(byAngle - positionMm)).toBeLessThan(finest + 1e-9);
        }
      }),
    );
  });

  it('are unknown without the travel of a turn, and marks without their number', () => {
    expect(railPositions(2, 0.5, undefined)[1]).toEqual({
      ...{ frame: 2, positionMm: 0.5 },
      ...{ turns: null, degrees: null, mark: null },
    });
    expect(railPositions(2, 0.5, { travelPerTurnMm: 1 })[1]).toMatchObject({
      turns: 0,
      degrees: 180,
      mark: null,
    });
  });
});

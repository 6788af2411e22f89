import { describe, expect, it } from 'vitest';
import { noMotion } from '../../src/register/centred-motion.js';
import { withOutlineDoubts } from '../../src/register/outline-doubts.js';
import type { PairLink } from '../../src/register/solve-stack.js';

/**
 * What edges tell about (a, b, x, y): at places of a unit circle, each along its normal, which stands `turnRad` off the
 * radius.
 */
function edges(turnsRad: readonly number[]): Float64Array {
  const information = new Float64Array(16);
  turnsRad.forEach((turnRad, i) => {
    const at = (2 * Math.PI * i) / turnsRad.length;
    const [u, v] = [Math.cos(at), Math.sin(at)];
    const [nx, ny] = [Math.cos(at + turnRad), Math.sin(at + turnRad)];
    const row = [nx * u + ny * v, ny * u - nx * v, nx, ny];
    for (let k = 0; k < 16; k++) information[k] += 100 * row[k >> 2] * row[k & 3];
  });
  return information;
}

function link(from: number, to: number, information: Float64Array): PairLink {
  return { from, to, motion: noMotion, information, scaleDoubtPx: 0, shiftDoubtPx: 0 };
}

const everyWay = Array.from({ length: 400 }, (_, i) => i * 2.4);
const ring = everyWay.map((turn) => 0.2 * Math.sin(turn));

describe('the doubt about outlines', () => {
  it('is none where edges run every way', () => {
    expect(withOutlineDoubts([link(0, 1, edges(everyWay))])[0].scaleDoubtPx).toBe(0);
  });

  it('is larger than what a ring of edges claims, and adds up over the pairs between', () => {
    const doubts = withOutlineDoubts([
      link(0, 1, edges(ring)),
      link(1, 2, edges(ring)),
      link(0, 2, edges(everyWay)),
    ]).map(({ scaleDoubtPx }) => scaleDoubtPx);
    const claimPx = 1 / Math.sqrt(edges(ring)[0]);
    expect(doubts[0]).toBeGreaterThan(4 * claimPx);
    expect(doubts[2]).toBeCloseTo(doubts[0] + doubts[1], 10);
  });

  it('is none where edges tell the roll better than the scale', () => {
    const spokes = ring.map((turn) => turn + Math.PI / 2);
    expect(withOutlineDoubts([link(0, 1, edges(spokes))])[0].scaleDoubtPx).toBe(0);
  });
});

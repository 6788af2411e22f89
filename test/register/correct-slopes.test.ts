import { describe, expect, it } from 'vitest';
import { noMotion } from '../../src/register/centred-motion.js';
import { correctLink, slopeContext } from '../../src/register/correct-slopes.js';
import { createCorrespondences } from '../../src/register/fit-motion.js';
import { normalRandom, seededRandom } from './textured-stack.js';

const fullSize = { width: 640, height: 480 };
const radiusPx = 400;
const grid = { columns: 40, rows: 30, pitch: 16 };
const frameCount = 12;

/** Whether a position about the centre lies on the rim of a bulging subject, all around the middle. */
function isSteep(u: number, v: number): boolean {
  return Math.hypot(u, v) > 130;
}

/**
 * A stack at rest. Tiles of the pair in its middle are all in focus; those of the rim seem to have moved outward by 0.2 px.
 * The focus curves are as wide, in frames, as they are told to be in the middle and on the rim.
 */
function seenGrowth(widths: { middle: number; rim: number }): number {
  const random = seededRandom(3);
  const energies = Array.from({ length: frameCount }, (_, k) =>
    Float32Array.from({ length: grid.columns * grid.rows }, (_, i) => {
      const u = ((i % grid.columns) + 0.5) * grid.pitch - fullSize.width / 2;
      const v = (Math.floor(i / grid.columns) + 0.5) * grid.pitch - fullSize.height / 2;
      const width = isSteep(u, v) ? widths.rim : widths.middle;
      return 100 * Math.exp(-0.5 * ((k - 5) / width) ** 2);
    }),
  );
  const tiles = createCorrespondences(400);
  for (let i = 0; i < 400; i++) {
    const u = (random() - 0.5) * fullSize.width;
    const v = (random() - 0.5) * fullSize.height;
    const outward = isSteep(u, v) ? 0.2 / Math.hypot(u, v) : 0;
    tiles.u[i] = u;
    tiles.v[i] = v;
    tiles.foundU[i] = u * (1 + outward) + 0.03 * normalRandom(random);
    tiles.foundV[i] = v * (1 + outward) + 0.03 * normalRandom(random);
    tiles.xx[i] = tiles.yy[i] = 1 / 0.03 ** 2;
    tiles.energy[i] = 90;
    tiles.count++;
  }
  const link = { from: 5, to: 6, motion: noMotion, information: new Float64Array(16) };
  const context = slopeContext(
    {
      motion: 'similarity',
      fullSize,
      radiusPx,
      pitchPx: 1,
      frames: energies.map((level) => ({ energies: [level] })),
      grids: [grid],
    },
    Array.from({ length: frameCount }, () => noMotion),
    new Array<number>(frameCount).fill(1),
  );
  return radiusPx * (correctLink(context, link, tiles).motion.a - 1);
}

describe('tiles on a surface that turns away', () => {
  it('are known by their wide focus curves, and do not make the picture grow', () => {
    expect(Math.abs(seenGrowth({ middle: 1, rim: 2.5 }))).toBeLessThan(0.1);
  });

  it('are believed where their focus curves are as wide as those of all others', () => {
    expect(seenGrowth({ middle: 1, rim: 1 })).toBeGreaterThan(0.2);
  });
});

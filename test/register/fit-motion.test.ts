import { describe, expect, it } from 'vitest';
import { commonModeSigma } from '../../src/model/constants/register.js';
import { noMotion } from '../../src/register/centred-motion.js';
import {
  type Correspondences,
  createCorrespondences,
  fitMotion,
  type SharedErrors,
} from '../../src/register/fit-motion.js';
import { normalRandom, seededRandom } from './textured-stack.js';

const fullSize = { width: 1600, height: 1200 };
const frame = { radiusPx: 1000, shiftOnly: false };

interface Drawn {
  tiles: Correspondences;
  shared: SharedErrors;
}

/** Tiles all over the frame, with a shared error of `sharedErrors[i]` px each, found where `positionOf` puts them with a noise of `sigmaPx`. */
function drawTiles(
  sharedErrors: readonly number[],
  sigmaPx: number,
  seed: number,
  positionOf: (u: number, v: number, sharedErrorPx: number) => [number, number],
): Drawn {
  const random = seededRandom(seed);
  const tiles = { ...createCorrespondences(sharedErrors.length), count: sharedErrors.length };
  const sizes = Float32Array.from(sharedErrors);
  sharedErrors.forEach((sharedErrorPx, i) => {
    const u = (random() - 0.5) * fullSize.width;
    const v = (random() - 0.5) * fullSize.height;
    const [x, y] = positionOf(u, v, sharedErrorPx);
    tiles.u[i] = u;
    tiles.v[i] = v;
    tiles.foundU[i] = x + sigmaPx * normalRandom(random);
    tiles.foundV[i] = y + sigmaPx * normalRandom(random);
    tiles.xx[i] = tiles.yy[i] = 1 / sigmaPx ** 2;
  });
  return { tiles, shared: { positionPx: sizes, scalePx: sizes } };
}

describe('a fit of tiles with shared errors', () => {
  it('follows twenty sharp tiles against a thousand that agree on another shift', () => {
    const sharedErrors = Array.from({ length: 1020 }, (_, i) => (i < 20 ? 0 : 1));
    const { tiles, shared } = drawTiles(sharedErrors, 0.05, 1, (u, v, sharedErrorPx) => [
      u + 0.8 * sharedErrorPx,
      v - 0.5 * sharedErrorPx,
    ]);
    const { motion } = fitMotion(tiles, { ...frame, shared, start: { ...noMotion, x: 0.8, y: -0.5 } });
    expect(Math.hypot(motion.x, motion.y)).toBeLessThan(0.06);
  });

  it('claims no more certainty than tiles with a common error have', () => {
    const sharedErrors = new Array<number>(1000).fill(1);
    const { tiles, shared } = drawTiles(sharedErrors, 0.05, 2, (u, v) => [u, v]);
    const { information } = fitMotion(tiles, { ...frame, shared, start: noMotion });
    expect(information[0]).toBeLessThan(1.05);
    for (const k of [1, 2, 3]) expect(information[5 * k]).toBeLessThan(1.05 / commonModeSigma ** 2);
  });

  it('takes sharp tiles at their word: scale, roll and shift as drawn', () => {
    const truth = { a: 1.0006, b: 0.0009, x: 1.4, y: -2.2 };
    const { tiles, shared } = drawTiles(new Array<number>(400).fill(0), 0.05, 3, (u, v) => [
      truth.a * u - truth.b * v + truth.x,
      truth.b * u + truth.a * v + truth.y,
    ]);
    const { motion } = fitMotion(tiles, { ...frame, shared });
    expect(fitMotion(tiles, frame).motion).toEqual(motion);
    expect(Math.abs(motion.a - truth.a) * frame.radiusPx).toBeLessThan(0.03);
    expect(Math.abs(motion.b - truth.b) * frame.radiusPx).toBeLessThan(0.03);
    expect(Math.hypot(motion.x - truth.x, motion.y - truth.y)).toBeLessThan(0.02);
  });

  it('leaves scale and roll alone when only a shift is asked for', () => {
    const { tiles, shared } = drawTiles(new Array<number>(100).fill(0.1), 0.05, 4, (u, v) => [
      1.001 * u + 1,
      v,
    ]);
    const { motion } = fitMotion(tiles, { ...frame, shared, shiftOnly: true });
    expect([motion.a, motion.b]).toEqual([1, 0]);
  });
});

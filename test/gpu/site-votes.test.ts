import { expect, it } from 'vitest';
import { siteGrid, siteVotes } from '../../src/focus/site-votes.js';
import { readSiteVotes } from '../../src/gpu/site-votes.js';
import { randomState, type State } from '../kernels/focus-state.js';
import { type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { noiseCodes } from '../kernels/peak-twin.js';
import { describeGpu, devices } from './gpu-rig.js';
import { placeStates } from './state-sets.js';

/** Several bands of places, and sizes that do not divide by their pitch. */
const sizes = [
  [71, 203],
  [53, 61],
  [36, 51],
] as const;
const frames = 14;

/**
 * Two surfaces, sharp in frames 4 and 11, on either side of a slanting edge. Beside it the detail of each shows through the
 * other here and there; some of it is faint, some pixels show nothing.
 */
function twoSides([w, h]: readonly [number, number], level: number): State {
  const random = randomFrom(5 + level);
  const whole = (least: number, most: number) => least + Math.floor(random() * (most - least + 1));
  const fromEdge = (x: number, y: number) => x - w / 2 - 0.2 * (y - h / 2);
  const base = randomState([w, h], 3);
  const of = (value: (x: number, y: number) => number) => pictureOf(w, h, value);
  const isSeen = of((x, y) => Number(random() < (Math.abs(fromEdge(x, y)) < 5 ? 0.6 : 0.1)));
  const seen = (x: number, y: number) => isSeen.data[y * w + x] > 0;
  return {
    ...base,
    best: of(() => (random() < 0.05 ? whole(3000, 5000) : whole(7200, 9000))),
    bestOrdinal: of((x, y) => (fromEdge(x, y) < 0 ? 4 : 11) + whole(-1, 1)),
    second: of((x, y) => (seen(x, y) ? whole(4000, 7000) : 0)),
    secondOrdinal: of((x, y) => (seen(x, y) ? (fromEdge(x, y) < 0 ? 11 : 4) + whole(-1, 1) : 0)),
  };
}

const codesOf = ({ data }: Plane) => Uint16Array.from(data);

describeGpu(
  'readSiteVotes',
  (rig) => {
    it.each(devices)('asks what `siteVotes` asks, level by level (%s)', async (which) => {
      const gpu = rig[which];
      const states = sizes.map(twoSides);
      const state = placeStates(rig, gpu, states);
      const noise = Float64Array.from(noiseCodes, (code) => code + 0.3);
      for (const [level, [width, height]] of sizes.entries()) {
        const [best, second, bestOrdinal, secondOrdinal] = (
          ['best', 'second', 'bestOrdinal', 'secondOrdinal'] as const
        ).map((name) => codesOf(states[level][name]));
        const here = {
          ...{ width, height, stride: width, level, best, second, bestOrdinal, secondOrdinal, noise },
          ...{ from: 0, to: height, top: 0, lumaTop: 0 },
          luma: codesOf(states[0].tones),
          lumaStride: sizes[0][0],
          lumaWidth: sizes[0][0],
          lumaHeight: sizes[0][1],
        };
        for (const apart of [6, 13]) {
          const expected = [...siteVotes(here, frames, apart)];
          const found = await readSiteVotes(gpu, state, level, noise, frames, apart);
          expect(found).toEqual(expected);
          if (apart === 6) expect(expected.length).toBeGreaterThan(level === 0 ? 100 : 10);
          if (apart > 8) expect(expected.length).toBe(0);
        }
      }
      gpu.release(...state);
    });

    it('asks by single places where the device binds no more, and refuses where it does not bind that much', async () => {
      const sides = twoSides(sizes[1], 0);
      const state = placeStates(rig, rig.gpu, [sides]);
      const ask = (bindingBytes: number) => {
        const { gpu } = rig;
        gpu.maxBindingBytes = bindingBytes;
        return readSiteVotes(gpu, state, 0, Float64Array.from(noiseCodes), frames, 6);
      };
      const [{ rowBytes }] = state;
      const windowRows = 2 * siteGrid(state[0]).margin + 1;
      const all = await ask(Number.MAX_SAFE_INTEGER);
      expect(all.length).toBeGreaterThan(10);
      expect(await ask(windowRows * rowBytes)).toEqual(all);
      for (const rows of [windowRows - 1, 5, 1])
        await expect(ask(rows * rowBytes)).rejects.toMatchObject({ failure: 'memory' });
      rig.gpu.release(...state);
    });

    it('has nothing to ask of a picture that is smaller than a window', async () => {
      const state = placeStates(rig, rig.gpu, [randomState([15, 40], 1)]);
      expect(await readSiteVotes(rig.gpu, state, 0, Float64Array.from(noiseCodes), frames, 4)).toEqual([]);
      rig.gpu.release(...state);
    });
  },
  { bandBytes: 300 << 10 },
);

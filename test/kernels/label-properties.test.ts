import { beforeAll, describe, expect, it } from 'vitest';
import type { State } from './focus-state.js';
import { storedIndex } from './focus-state.js';
import { at, KernelRig, type Plane, pictureOf, randomFrom } from './kernel-rig.js';
import { LabelKernels, lastFrame, randomScene, type Scene, supportsAt } from './label-scene.js';
import { tuned } from './tuned.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** A scene with each of its planes changed. */
function changed(scene: Scene, change: (plane: Plane, name: keyof State) => Plane): Scene {
  const states = scene.states.map(
    (state) =>
      Object.fromEntries(
        Object.entries(state).map(([name, plane]) => [name, change(plane, name as keyof State)]),
      ) as State,
  );
  return { ...scene, states };
}

const mirrored = (plane: Plane) =>
  pictureOf(plane.width, plane.height, (x, y) => at(plane, plane.width - 1 - x, y));
const upsideDown = (plane: Plane) =>
  pictureOf(plane.width, plane.height, (x, y) => at(plane, x, plane.height - 1 - y));

/** Stored depth indices counted from the other end of the stack. */
const turned = (plane: Plane) =>
  pictureOf(plane.width, plane.height, (x, y) => {
    const depthIndex = at(plane, x, y);
    return depthIndex === 0 ? 0 : storedIndex(0) + storedIndex(lastFrame + 1) - depthIndex;
  });

/** All stations over a scene. */
function surfaceOf(scene: Scene, nearSign: number) {
  const kernels = new LabelKernels(rig, scene);
  const supports = kernels.aggregate(kernels.aggregate(kernels.gather(), 2), 6);
  const labels = kernels.label(supports);
  return { ...kernels.decide(supports, labels, nearSign), supports, labels };
}

/** Pixels at which two pictures differ by more than this. */
const differing = (first: Plane, second: Plane, most = 0) =>
  first.data.filter((value, i) => Math.abs(value - second.data[i]) > most).length;

/** Widths that groups of four and of eight pixels do not divide, so that a mirrored picture has other groups. */
const sizes = [
  [52, 36, 2, 1],
  [53, 37, 1, -1],
  [48, 40, 4, 1],
] as const;

/** Sums in another order round otherwise: a support by one step, and with it a label here and there. */
const fewPixels = 4;

describe.each(sizes)(
  'labels of a picture of %i x %i, %i levels, nearSign %i',
  (width, height, count, nearSign) => {
    const scene = randomScene(width, height, count, 11);

    it.each([
      ['mirrored', mirrored],
      ['upside down', upsideDown],
    ] as const)('lie %s where the picture does', (_, turn) => {
      const plain = surfaceOf(scene, nearSign);
      const found = surfaceOf(changed(scene, turn), nearSign);
      const supports = turn(plain.supports);
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const expected = supportsAt(supports, x, y);
          supportsAt(found.supports, x, y).forEach((support, n) => {
            expect(Math.abs(support - expected[n])).toBeLessThanOrEqual(1);
          });
        }
      }
      expect(differing(found.labels, turn(plain.labels))).toBeLessThanOrEqual(fewPixels);
      expect(differing(found.depthIndices, turn(plain.depthIndices), 1)).toBeLessThanOrEqual(fewPixels);
      expect(differing(plain.labels, plain.depthIndices, 64)).toBeGreaterThan(100);
    });

    it('lie at the other end of the stack where it was taken in reverse', () => {
      const depthIndices = ['before', 'secondOrdinal'];
      const other = changed(scene, (plane, name) => (depthIndices.includes(name) ? turned(plane) : plane));
      const plain = surfaceOf(scene, nearSign);
      const found = surfaceOf(other, -nearSign);
      expect(differing(found.supports, plain.supports)).toBe(0);
      expect(differing(found.labels, turned(plain.labels))).toBe(0);
      // Halves round up either way.
      expect(differing(found.depthIndices, turned(plain.depthIndices), 1)).toBe(0);
      for (const plane of ['weights', 'gaps', 'certainties'] as const)
        expect(differing(found[plane], plain[plane]), plane).toBe(0);
    });

    it('stand where it is not known which end is near', () => {
      const { labels, depthIndices } = surfaceOf(scene, 0);
      const known = depthIndices.data.filter((depthIndex) => depthIndex > 0).length;
      expect(known).toBeGreaterThan(100);
      depthIndices.data.forEach((depthIndex, i) => {
        // Levels that agree refine a depth index within its unit; truncated curves have none, and a depth index beyond an end is at
        // least a frame beyond.
        const isBeyond = depthIndex <= storedIndex(0) || depthIndex >= storedIndex(lastFrame + 1);
        if (depthIndex > 0 && !isBeyond)
          expect(Math.abs(depthIndex - labels.data[i])).toBeLessThanOrEqual(64 * 1.2);
        if (labels.data[i] === 0) expect(depthIndex).toBe(0);
      });
    });
  },
);

it('on a slope, whose labels are nowhere apart, none moves, wherever it lies in a group of pixels', () => {
  const [width, height] = [52, 24];
  const random = randomFrom(2);
  const scene = randomScene(width, height, 1, 4);
  const [state] = scene.states;
  // Across a disc less than what parts surfaces, across eight such discs more; a rival before it.
  const slope = (x: number) => storedIndex(5 + 0.05 * x);
  const fill = (plane: Plane, value: (x: number) => number) => {
    for (let i = 0; i < plane.data.length; i++) plane.data[i] = value(i % width);
  };
  fill(state.best, () => 3000);
  fill(state.after, () => 64);
  fill(state.second, () => 2900);
  fill(state.before, slope);
  fill(state.secondOrdinal, (x) => slope(x) - 64 * 1.7);
  fill(state.tones, () => Math.floor(random() * 256) + 256 * Math.floor(random() * 256));
  const kernels = new LabelKernels(rig, scene);
  const supports = kernels.gather();
  const { depthIndices } = kernels.decide(supports, state.before, 1);
  expect(differing(depthIndices, state.before)).toBe(0);
});

it.each([-1, 1])(
  'a hair without labels of its own is told from the texture behind it by its frame, nearSign %i',
  (nearSign) => {
    const [width, height] = [61, 41];
    const random = randomFrom(3);
    const scene = randomScene(width, height, 1, 4);
    const [state] = scene.states;
    const isHair = (x: number) => x === 30;
    const [ground, hair] = nearSign > 0 ? [storedIndex(9), storedIndex(4)] : [storedIndex(4), storedIndex(9)];
    /** Behind, the ground is textured; in the hair's frame it is out of focus, and the hair little brighter. */
    const tones = (x: number) =>
      Math.floor(40 + 120 * random()) + 256 * Math.floor((isHair(x) ? 128 : 98) + 4 * random());
    const has = (x: number) => Math.abs(x - 30) <= tuned('windowRadius');
    const fill = (plane: Plane, value: (x: number) => number) => {
      for (let i = 0; i < plane.data.length; i++) plane.data[i] = value(i % width);
    };
    fill(state.best, () => 3000);
    fill(state.before, () => ground);
    fill(state.after, () => 64);
    fill(state.second, (x) => (has(x) ? 2900 : 0));
    fill(state.secondOrdinal, (x) => (has(x) ? hair : 0));
    fill(state.tones, tones);
    // Something labelled near lies farther off than tones are compared: without any, nothing is to be decided.
    const labels = pictureOf(width, height, (x) => (x === 30 + tuned('backRadius') - 1 ? hair : ground));
    const kernels = new LabelKernels(rig, scene);
    const { decided } = kernels.decide(kernels.gather(), labels, nearSign);
    for (let y = 0; y < height; y++) {
      for (let x = 30 - 6; x <= 30 + 6; x++)
        expect(at(decided, x, y), `${x}, ${y}`).toBe(isHair(x) ? hair : ground);
    }
  },
);

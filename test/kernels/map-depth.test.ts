import { beforeAll, describe, expect, it } from 'vitest';
import { storedIndex } from './focus-state.js';
import { at, KernelRig, type Plane, pictureOf } from './kernel-rig.js';
import {
  certaintyTwin,
  loweredCertainty,
  type MapScene,
  mapDepthTwin,
  randomMapScene,
  same,
} from './map-depth-scene.js';

const leastEnergy = 4000;
const sizes = [
  [131, 270],
  [40, 33],
  [9, 20],
  [1, 5],
] as const;

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** A scene in planes, marked, with one more plane; and its stride, width and height. */
function markScene({ depthIndices, stored, nearSign }: MapScene) {
  const { width, height } = depthIndices;
  const blank = pictureOf(width, height, () => 0xa7a7);
  const [given, certainties, marks, out] = [depthIndices, stored, blank, blank].map((plane) =>
    rig.storeCodes([plane]),
  );
  const size = [given.stride, width, height];
  const pointers = [given.pointer, certainties.pointer, marks.pointer];
  rig.run('markDepthEdgesStrip', [...pointers, ...size, nearSign, same, leastEnergy], height);
  return { given, certainties, marks, out, size };
}

function mapDepth(scene: MapScene) {
  const { given, certainties, marks, out, size } = markScene(scene);
  const pointers = [given.pointer, marks.pointer, certainties.pointer, out.pointer];
  rig.run('mapDepthStrip', [...pointers, ...size, scene.nearSign, same], scene.stored.height);
  return { mapped: rig.read(out), marks: rig.read(marks), certainties: rig.read(certainties) };
}

/** Certainties where no depth is changed. */
function halveOneSided(scene: MapScene): Plane {
  const { given, certainties, marks, size } = markScene(scene);
  const pointers = [given.pointer, marks.pointer, certainties.pointer];
  rig.run('halveOneSidedStrip', [...pointers, ...size, same], scene.stored.height);
  return rig.read(certainties);
}

describe.each([1, -1] as const)('the depth of the map, nearSign %i', (nearSign) => {
  it.each(sizes)('is that of its plain twin, %i x %i', (width, height) => {
    const scene = randomMapScene(width, height, nearSign);
    const { mapped, marks, certainties } = mapDepth(scene);
    const seen = { moved: 0, edges: 0 };
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const { depthIndex, sure, margin, isEdge } = mapDepthTwin(scene, x, y);
        const stored = at(scene.stored, x, y);
        expect(at(marks, x, y) & 0x1ff).toBe((stored >> 8) + (isEdge ? 256 : 0));
        // Where it is so even the kernel's 32-bit numbers may fall on the other side.
        if (margin < 1e-3) continue;
        const [least, most] = loweredCertainty(stored, sure);
        expect(at(certainties, x, y) & 255, `${x}, ${y}`).toBeGreaterThanOrEqual(least);
        expect(at(certainties, x, y) & 255, `${x}, ${y}`).toBeLessThanOrEqual(most);
        expect(Math.abs(at(mapped, x, y) - depthIndex), `${x}, ${y}`).toBeLessThanOrEqual(1);
        if (isEdge) seen.edges++;
        if (depthIndex !== at(scene.depthIndices, x, y)) seen.moved++;
      }
    }
    if (width < 20) return;
    expect(seen.edges).toBeGreaterThan(100);
    expect(seen.moved).toBeGreaterThan(100);
  });

  /** A vertical thing of `widthPx` at column 40 before ground, which gives its depth to 2 px on either side; tones of their light. */
  function thingBeforeGround(widthPx: number): MapScene & { coverage: Plane } {
    const [from, to] = [40.3, 40.3 + widthPx];
    const size = [100, 60] as const;
    const coverage = pictureOf(...size, (x) => Math.max(0, Math.min(1, to - x) - Math.max(0, from - x)));
    const isNear = (x: number) => x > from - 3 && x < to + 2;
    const depthIndices = pictureOf(...size, (x) => storedIndex(isNear(x) === nearSign > 0 ? 4 : 9));
    // Light follows the square of a tone.
    const stored = pictureOf(...size, (x, y) => {
      const share = at(coverage, x, y);
      return 200 + 256 * Math.round(Math.sqrt(share * 220 ** 2 + (1 - share) * 70 ** 2));
    });
    return { depthIndices, stored, nearSign, coverage };
  }

  it.each([1.7, 2.4, 3])('is that of the ground where a hair of %f px covers less than half', (widthPx) => {
    const scene = thingBeforeGround(widthPx);
    const { mapped, certainties } = mapDepth(scene);
    const [hair, ground] = nearSign > 0 ? [4, 9] : [9, 4];
    for (let x = 30; x < 60; x++) {
      const covered = at(scene.coverage, x, 30);
      expect(at(mapped, x, 30), `column ${x}`).toBe(storedIndex(covered > 0.5 ? hair : ground));
      // What is wholly hair is sure, and so is ground that has no hair beside it.
      const isSure = covered === 1 || x < 35 || x > 50;
      if (isSure) expect(at(certainties, x, 30) & 255, `column ${x}`).toBeGreaterThan(180);
      // Where the hair's depth reached a pixel that it does not cover nothing but its surroundings is known.
      else if (covered === 0 && at(scene.depthIndices, x, 30) === storedIndex(hair))
        expect(at(certainties, x, 30) & 255, `column ${x}`).toBe(100);
    }
  });

  it('is that of the picture at the rim of something broad', () => {
    const scene = thingBeforeGround(30);
    const { mapped } = mapDepth(scene);
    for (let y = 6; y < 54; y++) {
      for (let x = 0; x < 100; x++) expect(at(mapped, x, y)).toBe(at(scene.depthIndices, x, y));
    }
  });
});

describe('the certainty of a depth', () => {
  it.each(sizes)('is that of its plain twin, %i x %i', (width, height) => {
    const scene = randomMapScene(width, height, 1);
    const certainties = halveOneSided(scene);
    const seen = { whole: 0, halved: 0 };
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const expected = certaintyTwin(scene, x, y, leastEnergy);
        expect(at(certainties, x, y), `${x}, ${y}`).toBe(expected);
        if (expected < (at(scene.stored, x, y) & 255)) seen.halved++;
        else seen.whole++;
      }
    }
    if (width < 20) return;
    expect(seen.halved).toBeGreaterThan(100);
    expect(seen.whole).toBeGreaterThan(100);
  });

  const [width, height] = [80, 60];
  /** All of one depth; tones by place. */
  const sceneOf = (toneAt: (x: number, y: number) => number): MapScene => ({
    depthIndices: pictureOf(width, height, () => storedIndex(5)),
    stored: pictureOf(width, height, (x, y) => 200 + 256 * toneAt(x, y)),
    nearSign: 1,
  });

  it.each([
    ['upright', (x: number, y: number) => x - 40 + 0 * y],
    ['slanting', (x: number, y: number) => (2 * x - y) / 2 - 25],
    ['level', (x: number, y: number) => y - 30 + 0 * x],
  ])('is halved on smooth ground beside a hair, and whole on the hair: %s', (_, across) => {
    const certainties = halveOneSided(sceneOf((x, y) => (Math.abs(across(x, y)) <= 1 ? 220 : 60)));
    for (let y = 15; y < height - 15; y++) {
      for (let x = 15; x < width - 15; x++) {
        const away = Math.abs(across(x, y));
        if (away <= 1) expect(at(certainties, x, y), `${x}, ${y}`).toBe(200);
        if (away > 4) expect(at(certainties, x, y), `${x}, ${y}`).toBe(100);
      }
    }
  });

  it('is whole on smooth ground that detail of its depth surrounds', () => {
    const isInside = (x: number, y: number) => Math.hypot(x - 40, y - 30) < 9;
    const certainties = halveOneSided(sceneOf((x, y) => (isInside(x, y) ? 90 : (x + y) % 4 < 2 ? 40 : 140)));
    for (let y = 15; y < height - 15; y++) {
      for (let x = 15; x < width - 15; x++) expect(at(certainties, x, y), `${x}, ${y}`).toBe(200);
    }
  });
});

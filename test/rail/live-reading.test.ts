import { beforeAll, expect, test } from 'vitest';
import { applyMatrix, composeMatrices, invertMatrix, type Matrix3 } from '../../src/image/transform.js';
import { LiveReading } from '../../src/rail/live-reading.js';
import { type JudgedEvidence, type StackEvidence, StackReading } from '../../src/rail/stack-reading.js';
import type { DecodedFrame } from '../../src/stack/decode.js';
import type { FrameFile } from '../../src/stack/frame.js';
import { createTexturedStack } from '../register/textured-stack.js';

const size = { width: 320, height: 240 };
/** More than one window holds. */
const count = 28;
const inOrder = Array.from({ length: count }, (_, k) => k);
let pictures: DecodedFrame[];
let whole: StackEvidence;
let live: LiveReading;

beforeAll(async () => {
  const stack = createTexturedStack({
    ...{
      ...size,
      frameCount: count,
      seed: 31,
      growthPerStep: 0.0012,
      jitterPx: 2,
      rollRad: 0,
      flicker: 0.02,
    },
    ...{ irregularity: 0.1, noise: 1, shaken: { index: 21, lengthPx: 8 }, perspective: true, relief: 0.8 },
    ...{ blurPerStep: 0.3, channels: 3, anchor: 0 },
  });
  pictures = Array.from({ length: count }, (_, k) => {
    const { pixels, channels, bits } = stack.draw(k);
    return { pixels: pixels.slice(), ...size, channels, bits, shrink: 1 };
  });
  const reading = new StackReading(size, count);
  for (const [k, picture] of pictures.entries()) reading.add(file(k), picture);
  const found = await reading.finish(async (frame) => pictures[frame.number - 1], undefined);
  whole = found.evidence;
  live = readLive(inOrder);
});

function file(k: number): FrameFile {
  const facts = { sizeBytes: 1, modifiedMs: 0, size, bits: 8, channels: 3, hasAlpha: false } as const;
  const name = `${k + 1}.jpg`;
  return { ...facts, number: k + 1, name, path: name, format: 'jpeg', orientation: 1, exif: {} };
}

/** Reads frames one by one, in this order, each into its place. */
function readLive(order: readonly number[]): LiveReading {
  const reading = new LiveReading(size);
  for (const k of order) {
    const at = reading.files.filter(({ number }) => number < k + 1).length;
    if (at !== reading.windowEnd) {
      reading.openWindow(Math.max(0, at - 12));
      while (reading.windowEnd < at) reading.extend(pictures[reading.files[reading.windowEnd].number - 1]);
    }
    reading.insert(file(k), pictures[k]);
    const behind = Math.min(reading.count, at + 13);
    while (reading.windowEnd < behind) reading.extend(pictures[reading.files[reading.windowEnd].number - 1]);
    // As where frames lie there when a watch begins.
    if (order.indexOf(k) % 3 === 2) reading.update();
  }
  reading.update();
  return reading;
}

/** Largest distance at the corners between two placements of all frames to the first, px. */
function farthest(found: JudgedEvidence, expected: StackEvidence): number {
  const toFirst = ({ motion: { frames } }: Pick<JudgedEvidence, 'motion'>): Matrix3[] =>
    frames.map(({ matrix }) => composeMatrices(invertMatrix(frames[0].matrix), matrix));
  const others = toFirst(expected);
  return Math.max(
    ...toFirst(found).flatMap((matrix, k) =>
      [0, size.width].flatMap((x) =>
        [0, size.height].map((y) => {
          const [one, other] = [applyMatrix(matrix, x, y), applyMatrix(others[k], x, y)];
          return Math.hypot(one[0] - other[0], one[1] - other[1]);
        }),
      ),
    ),
  );
}

test('a stack that is read window by window is placed, lit and stepped as one that is read as a whole', () => {
  const found = live.evidence();
  expect(farthest(found, whole)).toBeLessThan(1.5);
  const light = (evidence: Pick<JudgedEvidence, 'motion'>) =>
    evidence.motion.frames.map(({ gainRatio }) => gainRatio[1] / evidence.motion.frames[0].gainRatio[1]);
  light(whole).forEach((gain, k) => {
    expect(light(found)[k]).toBeCloseTo(gain, 1);
  });
  expect([...found.stackTravel.blurred]).toEqual([...whole.stackTravel.blurred]);
  const [steps, expected] = [found, whole].map(({ stackTravel }) => stackTravel.travel.steps);
  const off = steps.flatMap((step, k) =>
    Number.isNaN(step) || Number.isNaN(expected[k]) ? [] : [Math.abs(step - expected[k])],
  );
  expect(off.length).toBeGreaterThan(15);
  expect(off.toSorted((one, other) => one - other)[off.length >> 1]).toBeLessThan(0.15);
});

test('frames that come late, far behind the newest one, find their place', () => {
  const late = [4, 13];
  const found = readLive([...inOrder.filter((k) => !late.includes(k)), ...late]);
  expect(found.files.map(({ number }) => number)).toEqual(inOrder.map((k) => k + 1));
  expect(farthest(found.evidence(), whole)).toBeLessThan(1.5);
  expect([...found.evidence().stackTravel.blurred]).toEqual([...whole.stackTravel.blurred]);
});

test('frames that are taken out leave the positions of the others', () => {
  const before = live.positions();
  for (const index of [22, 7]) live.remove(index);
  live.update();
  const left = inOrder.filter((k) => k !== 22 && k !== 7);
  expect(live.files.map(({ number }) => number)).toEqual(left.map((k) => k + 1));
  live.positions().forEach((position, i) => {
    // The window is measured anew without one of its frames: its usual step may differ a little.
    expect(Math.abs(position - before[left[i]])).toBeLessThan(1.5);
  });
  const { motion } = live.evidence();
  expect(motion.frames.every(({ usable }) => usable)).toBe(true);
});

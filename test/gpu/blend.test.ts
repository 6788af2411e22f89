import { expect, it } from 'vitest';
import { takePlan, tileRows } from '../../src/blend/plan-sources.js';
import { PyramidBlender } from '../../src/blend/pyramid-blender.js';
import type { Spill } from '../../src/blend/spill.js';
import { GpuPyramidBlender } from '../../src/gpu/blend.js';
import type { Gpu } from '../../src/gpu/device.js';
import { takeSpans } from '../../src/gpu/frame-spans.js';
import type { GpuPlanes } from '../../src/gpu/planes.js';
import { levelSizes } from '../../src/image/level-sizes.js';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import { identityMatrix, type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import { Arena, type Planes } from '../../src/kernels/arena.js';
import { wholeWindow } from '../../src/kernels/row-windows.js';
import { tileColumns } from '../../src/model/constants/state.js';
import { StripPool } from '../../src/workers/pool.js';
import { at, type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { describeGpu, type GpuRig } from './gpu-rig.js';

const size = { width: 201, height: 139 };
const frame = { width: 207, height: 134 };
const count = 5;
const tiles = Math.ceil(size.width / tileColumns) * Math.ceil(size.height / tileRows);

interface Given {
  bits: 8 | 16;
  fractionBits: number;
  frames: (Uint8Array | Uint16Array)[];
  toFrame: Matrix3[];
  /** Of each level: centre, reach and perhaps front layers. */
  maps: Plane[][];
  /** By tile and ordinal. */
  isUsed: (tile: number, ordinal: number) => boolean;
  /** Of level 1: red, green, blue, share, depth index. */
  spill: Plane[] | undefined;
  lost: number;
}

/** Waves with a little noise, moving frames, and a plan that asks for every frame somewhere. */
function given(bits: 8 | 16, fractionBits: number, hasSpill: boolean, lost: number): Given {
  const random = randomFrom(bits + fractionBits);
  const unit = bits === 8 ? 1 : 257;
  const frames = Array.from({ length: count }, (_, k) => {
    const samples = new (bits === 8 ? Uint8Array : Uint16Array)(frame.width * frame.height * 3);
    return samples.map((_, i) => {
      const [x, y] = [Math.floor(i / 3) % frame.width, Math.floor(i / 3 / frame.width)];
      const wave = Math.sin(x / (3 + k) + (i % 3)) * Math.cos(y / (4 + (k % 2)));
      return Math.max(0, Math.min(255, 128 + 110 * wave + 30 * (random() - 0.5))) * unit;
    });
  });
  const spread = (range: number) => (2 * random() - 1) * range;
  const toFrame = Array.from({ length: count }, (_, k) =>
    k === 1
      ? identityMatrix
      : similarityMatrix(
          { scale: 1 + spread(0.02), rollRad: spread(0.01), shiftXPx: spread(6), shiftYPx: spread(6) },
          size.width,
          size.height,
        ),
  );
  const one = 2 ** fractionBits;
  const maps = levelSizes(size).map(({ width, height }, level) => {
    const centre = pictureOf(width, height, (x) => {
      const across = Math.min(1, (x * 2 ** level) / size.width);
      return Math.round(one * (1 + (count - 1) * across) + spread(one / 4));
    });
    const reach = pictureOf(width, height, () => (random() < 0.5 ? 21 : 16 + Math.floor(random() * 40)));
    const named = pictureOf(width, height, () => (random() < 0.1 ? 1 + Math.floor(random() * count) : 0));
    const packed = pictureOf(width, height, (x, y) => at(reach, x, y) + 64 * at(named, x, y));
    return fractionBits < 6 ? [centre, reach, named] : [centre, packed];
  });
  const used = Array.from({ length: tiles * (count + 1) }, () => random() < 0.8);
  const half = levelSizes(size)[1];
  const shares = pictureOf(half.width, half.height, () =>
    random() < 0.5 ? 0 : Math.floor(random() * 30000),
  );
  const spill = [0.3, 0.6, 0.9]
    .map((part) => pictureOf(half.width, half.height, (x, y) => Math.floor(part * at(shares, x, y))))
    .concat(shares)
    .concat(
      pictureOf(half.width, half.height, (x) => Math.round(one * (5 + (x / half.width) * (count - 1)))),
    );
  const isUsed = (tile: number, ordinal: number) => used[tile * (count + 1) + ordinal];
  return { bits, fractionBits, frames, toFrame, maps, isUsed, spill: hasSpill ? spill : undefined, lost };
}

const gains = [1.02, 1, 0.97] as const;

/** The composite of the processor. */
async function blended(wish: Given): Promise<Uint8Array | Uint16Array> {
  const { bits, fractionBits, frames, toFrame, maps, isUsed, lost } = wish;
  const arena = new Arena();
  const pool = await StripPool.start(arena, 1, PyramidBlender.scratchBytes(size, frame, 0.02));
  try {
    // Long stacks have fewer fraction bits, and front layers in a plane of their own.
    const plan = takePlan(arena, size, fractionBits < 6 ? 1100 : count);
    expect(plan.fractionBits).toBe(fractionBits);
    const put = (planes: Planes, plane: number, picture: Plane) => {
      const data = arena.planeU16(planes, plane);
      for (let y = 0; y < planes.height; y++)
        for (let x = 0; x < planes.width; x++) data[y * planes.stride + x] = at(picture, x, y);
    };
    plan.levels.forEach(({ centre, reach }, level) => {
      put(centre, 0, maps[level][0]);
      for (const [p, map] of maps[level].slice(1).entries()) put(reach, p, map);
    });
    const uses = arena.u8(plan.uses, tiles * plan.usesBytes).fill(0);
    for (let tile = 0; tile < tiles; tile++) {
      for (let ordinal = 1; ordinal <= count; ordinal++) {
        if (isUsed(tile, ordinal)) uses[tile * plan.usesBytes + (ordinal >> 3)] |= 1 << (ordinal & 7);
      }
    }
    const spill = wish.spill && placedSpill(arena, wish.spill);
    const blender = new PyramidBlender(arena, pool, size, frame, plan, srgbCurve, spill, lost);
    const length = frame.width * frame.height * 3;
    const pointer = arena.take(length * 2 + 64);
    for (const [k, samples] of frames.entries()) {
      (bits === 8 ? arena.u8(pointer, length) : arena.u16(pointer, length)).set(samples);
      const placed = { pointer, bits, ...frame, toFrame: toFrame[k], gainRatio: gains, ordinal: k + 1 };
      await blender.add(placed);
    }
    const out = await blender.finish(bits);
    const bytes = arena.gather(out);
    return bits === 8 ? bytes : new Uint16Array(bytes.buffer);
  } finally {
    await pool.close();
  }
}

function placedSpill(arena: Arena, planes: readonly Plane[]): Spill {
  const { width, height } = planes[0];
  const spills = arena.takeRows(width * 8, wholeWindow(height, 1));
  const depthIndices = arena.takeRows(width * 2, wholeWindow(height, 1));
  arena
    .u16(spills.pointer, width * height * 4)
    .set(Array.from({ length: width * height * 4 }, (_, i) => planes[i % 4].data[i >> 2]));
  arena.u16(depthIndices.pointer, width * height).set(planes[4].data);
  return { spills, depthIndices };
}

/** The composite of a device. */
async function blendedOn(rig: GpuRig, gpu: Gpu, wish: Given): Promise<Uint8Array | Uint16Array> {
  const { bits, fractionBits, frames, toFrame, maps, isUsed, lost } = wish;
  const uses = new Uint32Array(tiles);
  for (let tile = 0; tile < tiles; tile++) {
    for (let ordinal = 1; ordinal <= count; ordinal++) if (isUsed(tile, ordinal)) uses[tile] |= 1 << ordinal;
  }
  const plan = {
    levels: levelSizes(size).map((of, level) => ({
      maps: rig.store(gpu, maps[level], 2),
      spans: takeSpans(gpu, toFrame, frame, of, level),
    })),
    sources: gpu.takePlanes(1, 1, 1, 2),
    uses: gpu.takeTable(uses),
    useWords: 1,
    fractionBits,
  };
  const word = (low: Plane, high: Plane) =>
    pictureOf(low.width, low.height, (x, y) => at(low, x, y) + 65536 * at(high, x, y));
  const spill =
    wish.spill &&
    rig.storeWords(gpu, [
      word(wish.spill[0], wish.spill[1]),
      word(wish.spill[2], wish.spill[3]),
      wish.spill[4],
    ]);
  const blender = new GpuPyramidBlender(gpu, frame, plan, srgbCurve, spill, lost);
  const pixels: GpuPlanes = gpu.takeFrame(frame.width, frame.height, bits);
  for (const [k, samples] of frames.entries()) {
    gpu.writeTable(pixels.buffer, samples);
    blender.add({ pixels, bits, toFrame: toFrame[k], gainRatio: gains, ordinal: k + 1 });
  }
  const out = await blender.finish(bits);
  gpu.release(pixels, plan.uses, plan.sources, ...plan.levels.flatMap((level) => [level.maps, level.spans]));
  if (spill) gpu.release(spill);
  expect(gpu.heldBytes).toBe(0);
  return out;
}

describeGpu(
  'a blend',
  (rig) => {
    const cases = [
      { bits: 8, fractionBits: 6, hasSpill: false, lost: 0 },
      { bits: 16, fractionBits: 6, hasSpill: true, lost: 0.8 },
      { bits: 8, fractionBits: 5, hasSpill: true, lost: 0 },
    ] as const;

    it.each(cases)(
      'is that of the processor: $bits bits, $fractionBits fraction bits, spill $hasSpill, lost $lost',
      async ({ bits, fractionBits, hasSpill, lost }) => {
        const wish = given(bits, fractionBits, hasSpill, lost);
        const expected = await blended(wish);
        const [ours, banded] = [await blendedOn(rig, rig.gpu, wish), await blendedOn(rig, rig.banded, wish)];
        const level = bits === 8 ? 1 : 257;
        let worst = 0;
        let unlike = 0;
        expected.forEach((value, i) => {
          worst = Math.max(worst, Math.abs(value - ours[i]) / level);
          if (ours[i] !== banded[i]) unlike++;
        });
        // Of 8 bits one may be rounded the other way.
        expect(worst).toBeLessThanOrEqual(bits === 8 ? 1 : 0.2);
        expect(unlike).toBe(0);
        expect(new Set(expected).size).toBeGreaterThan(200);
      },
    );
  },
  { bandBytes: 80 << 10 },
);

import { mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { layeredNoise, smoothNoise } from '../../samples/noise.js';
import { renderScene } from '../../samples/render-scene.js';
import { anchorNumber } from '../../samples/shoot.js';
import { applyMatrix, composeMatrices, invertMatrix, type Matrix3 } from '../../src/image/transform.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeEvent } from '../../src/merge/merge-event.js';
import { coverageClassNames } from '../../src/result/coverage.js';
import { readResult } from '../../src/result/read-result.js';
import { traceRegion } from '../../src/trace/trace.js';
import { makeFolder } from '../stack/pictures.js';

const [width, height] = [320, 240];
const frameCount = 7;
const [covered, noDetail, outOfReach] = (['covered', 'no-detail', 'out-of-reach'] as const).map((name) =>
  coverageClassNames.indexOf(name),
);

/** A stack with what is known of it. */
interface KnownStack {
  folder: string;
  /** Frame pixel to anchor pixel. */
  transforms: Matrix3[];
  /** Ordinal (fractional) of the plane of focus at each pixel of the anchor, (240, 320). */
  place: Float32Array;
  /** Steps from the anchor's plane of focus, (240, 320). */
  depth: Float32Array;
}

/**
 * Stone whose left third lies at the second plane of focus, whose right third at the last but one, and which leans from
 * one to the other between them. Polished, so without any detail, in a field at either side.
 */
function subject(w: number, h: number) {
  const rgb = new Uint8Array(w * h * 3);
  const depth = new Float32Array(w * h);
  for (let i = 0; i < w * h; i++) {
    const [x, y] = [i % w, Math.floor(i / w)];
    const grain = smoothNoise(x / 3.1, y / 3.1, 8) + smoothNoise(x / 5.3, y / 5.3, 9);
    const stone = 0.5 + 0.4 * layeredNoise(x / 60, y / 60, 4, 0.75, 1) + 0.16 * grain;
    const isPolished = isPolishedAt(x / w, y / h);
    const tone = isPolished ? 0.5 : Math.min(1, Math.max(0, stone));
    rgb.set([60 + 150 * tone, 55 + 140 * tone, 50 + 120 * tone], 3 * i);
    const part = Math.min(1, Math.max(0, (x / w - 1 / 3) * 3));
    depth[i] = 1 + part * (frameCount - 3);
  }
  return { width: w, height: h, rgb, depth };
}

/** Parts of width and height. */
function isPolishedAt(x: number, y: number): boolean {
  return (x < 0.2 || x > 0.8) && y > 0.35 && y < 0.65;
}

const steady = { shiftPx: 0, rollDeg: 0, flickerPercent: 0, format: 'png', magnification: 0.5 } as const;

/** The camera rides towards the subject: what is far is shown larger, so that far frames see the least of it. */
async function railStack(): Promise<KnownStack> {
  const out = makeFolder();
  const options = { scene: 'photo', out, width, height, frames: frameCount } as const;
  const photo = subject(width, height);
  const { transforms, anchor } = await renderScene({ ...steady, ...options, photo, focalLengthMm: 9 });
  const depth = readDepth(out);
  return {
    folder: join(out, 'frames'),
    transforms,
    depth,
    place: depth.map((steps) => steps + anchor),
  };
}

/** The camera stands, and its lens is focused from near to far: near frames are enlarged the most, by a hundredth each. */
async function lensStack(): Promise<KnownStack> {
  const [wide, high] = [400, 300];
  const out = makeFolder();
  const options = { scene: 'photo', out, width: wide, height: high, frames: frameCount } as const;
  const photo = subject(wide, high);
  // So far away that nothing grows by itself.
  await renderScene({ ...steady, ...options, photo, focalLengthMm: 3000 });
  const folder = join(out, 'lens');
  mkdirSync(folder);
  const files = readdirSync(join(out, 'frames')).sort();
  const toFrame: Matrix3[] = [];
  for (const [k, file] of files.entries()) {
    const hundredths = frameCount - 1 - k;
    const [w, h] = [wide + 4 * hundredths, high + 3 * hundredths];
    const [left, top] = [Math.floor((w - width) / 2), Math.floor((h - height) / 2)];
    await sharp(join(out, 'frames', file))
      .resize(w, h, { kernel: 'lanczos3', fit: 'fill' })
      .extract({ left, top, width, height })
      .toFile(join(folder, file));
    // Scaled about pixel corners: centres lie half a pixel inside.
    const scale = w / wide;
    const offset = (scale - 1) / 2;
    toFrame.push([scale, 0, offset - left, 0, scale, offset - top, 0, 0, 1]);
  }
  const anchor = anchorNumber(frameCount);
  const rendered = readDepth(out);
  const fromAnchor = invertMatrix(toFrame[anchor - 1]);
  const depth = Float32Array.from({ length: width * height }, (_, i) => {
    const [x, y] = applyMatrix(fromAnchor, i % width, Math.floor(i / width));
    return rendered[Math.round(y) * wide + Math.round(x)];
  });
  return {
    folder,
    transforms: toFrame.map((m) => composeMatrices(toFrame[anchor - 1], invertMatrix(m))),
    depth,
    place: depth.map((steps) => steps + anchor),
  };
}

function readDepth(out: string): Float32Array {
  return new Float32Array(Uint8Array.from(readFileSync(join(out, 'truth', 'depth.f32'))).buffer);
}

/** Pixels within this of a frame's edge, px, may be told either way: measures and errors of the alignment reach so far. */
const edgePx = 4;

describe.each([
  ['a rail, far frames seeing the least', railStack, 1],
  ['a lens that breathes, near frames seeing the least', lensStack, 0],
] as const)('the rim of a stack: %s', (_, shoot, farSide) => {
  let stack: KnownStack;
  let out: string;
  let maps: Awaited<ReturnType<Awaited<ReturnType<typeof readResult>>['readMaps']>>;
  const found: string[] = [];
  let verdicts: string[];
  /** Indices of pixels that no frame reaches that is sharp there, of those that all reach, of those that some do and are. */
  const missed: number[] = [];
  const common: number[] = [];
  const reached: number[] = [];
  beforeAll(async () => {
    stack = await shoot();
    out = join(makeFolder(), 'merged');
    const onEvent = (event: MergeEvent) => {
      if (event.event === 'finding') found.push(`${event.finding.message} ${event.finding.advice}`);
    };
    const options = { out, threads: 2, crop: 'anchor', direction: 'near-to-far' } as const;
    ({ verdicts } = await merge(stack.folder, options, { onEvent }));
    maps = await (await readResult(out)).readMaps();
    const toFrame = stack.transforms.map(invertMatrix);
    for (let i = 0; i < width * height; i++) {
      const room = toFrame.map((m) => {
        const [u, v] = applyMatrix(m, i % width, Math.floor(i / width));
        return Math.min(u, v, width - 1 - u, height - 1 - v);
      });
      const near = room.filter((_, k) => Math.abs(k + 1 - stack.place[i]) <= 1);
      if (near.every((px) => px < -0.5)) missed.push(i);
      else if (room.every((px) => px > edgePx)) common.push(i);
      // Its curve falls again within the frames that reach: the next two to either side do.
      else if (room.every((px, k) => Math.abs(k + 1 - stack.place[i]) > 2 || px > edgePx)) reached.push(i);
    }
  });

  const isPolished = (i: number) => isPolishedAt((i % width) / width, Math.floor(i / width) / height);
  const share = (pixels: number[], isSo: (i: number) => boolean) =>
    pixels.filter(isSo).length / pixels.length;

  it('is out of reach where no frame that is sharp there sees it', () => {
    const grained = missed.filter((i) => !isPolished(i));
    expect(grained.length).toBeGreaterThan(300);
    expect(share(grained, (i) => maps.coverage[i] === outOfReach)).toBeGreaterThan(0.97);
    // At the side where the sharp frames see less, and not at the other.
    expect(share(grained, (i) => Number(i % width > width / 2) === farSide)).toBeGreaterThan(0.9);
  });

  it('is never covered there, of plain ground neither', () => {
    const polished = missed.filter(isPolished);
    expect(polished.length).toBeGreaterThan(50);
    const isHonest = (i: number) => maps.coverage[i] === outOfReach || maps.coverage[i] === noDetail;
    expect(share(polished, isHonest)).toBeGreaterThan(0.99);
    // A pixel takes the surface of its neighbours where they agree: one or two in a hundred beside the rim do so wrongly.
    expect(share(missed, (i) => maps.coverage[i] === covered)).toBeLessThan(0.02);
  });

  it('has no confidence and no invented depth there', () => {
    expect(share(missed, (i) => maps.confidence[i] < 32)).toBeGreaterThan(0.98);
    const isTrue = (i: number) =>
      Number.isNaN(maps.depth[i]) || Math.abs(maps.depth[i] - stack.depth[i]) < 1.5;
    expect(share(missed, isTrue)).toBeGreaterThan(0.98);
    const out = maps.coverage.findIndex((kind, i) => {
      return kind === outOfReach && !(Number.isNaN(maps.depth[i]) && maps.confidence[i] === 0);
    });
    expect(out).toBe(-1);
  });

  it('leaves as it was what all frames reach, and what is seen to rise and to fall again', () => {
    expect(share(common, (i) => maps.coverage[i] === outOfReach)).toBe(0);
    const grained = common.filter((i) => !isPolished(i));
    expect(share(grained, (i) => maps.coverage[i] === covered)).toBeGreaterThan(0.98);
    const seen = reached.filter((i) => !isPolished(i));
    expect(seen.length).toBeGreaterThan(300);
    expect(share(seen, (i) => maps.coverage[i] === covered && maps.confidence[i] > 200)).toBeGreaterThan(0.9);
  });

  it('is not claimed by a trace', async () => {
    const at = missed.find((i) => maps.coverage[i] === outOfReach && maps.sources[i] > 0)!;
    const region = { x: at % width, y: Math.floor(at / width), width: 1, height: 1 };
    const report = await traceRegion(out, region);
    expect(report.coverage).toEqual([{ name: 'out-of-reach', percent: 100 }]);
    expect(report.depth).toBeNull();
    expect(report.confidence).toEqual({ mean: 0, min: 0 });
  });

  it('is told with its share on the terminal and in the report, and cut off unless told otherwise', async () => {
    const percent = (100 * maps.coverage.filter((kind) => kind === outOfReach).length) / (width * height);
    const sentence = new RegExp(
      `^${Number(percent.toFixed(1))} % of the picture, .*out of reach.*crop common`,
    );
    expect(found.filter((finding) => sentence.test(finding))).toHaveLength(1);
    expect(verdicts.filter((verdict) => sentence.test(verdict))).toHaveLength(1);
    const cut = join(makeFolder(), 'cut');
    const said = await merge(stack.folder, { out: cut, threads: 1, direction: 'near-to-far' });
    expect(said.notes.join()).toMatch(/cut to the \d+ x \d+ pixels that every frame reaches.* crop anchor/);
    const inside = await (await readResult(cut)).readMaps();
    expect(inside.coverage.filter((kind) => kind === outOfReach).length).toBe(0);
    expect(said.verdicts.join()).not.toContain('out of reach');
  });
});

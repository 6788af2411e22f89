import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { check } from '../../src/check/check.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeOptions } from '../../src/options/merge-options.js';
import { readResult } from '../../src/result/read-result.js';
import { innerPixels, median, placeStack, type RenderedStack, renderPlane } from './small-stack.js';

const inner = innerPixels(12);
let stack: RenderedStack;

beforeAll(async () => {
  stack = await renderPlane({ format: 'png', bits: 16, stepPart: 1.3 });
});

/**
 * The frames of the rail in reverse order: the picture shrinks from frame to frame. So it does before a fixed camera
 * whose lens moves towards the sensor as it is focused farther, and there frame 1 is the nearest.
 */
async function shrinkingFrames(distanceM?: (k: number) => string): Promise<string> {
  const reversed = Object.values(stack.files).reverse();
  const files: Record<string, Buffer> = {};
  for (const [k, file] of reversed.entries()) {
    const picture = sharp(file).toColourspace('rgb16').png();
    const tags = distanceM && { IFD2: { SubjectDistance: distanceM(k) } };
    files[`IMG_${k + 1}.png`] = await (tags ? picture.withExif(tags) : picture).toBuffer();
  }
  return placeStack(files).frames;
}

async function mergeBy(frames: string, options: Partial<MergeOptions> = {}) {
  const out = `${frames}-${options.direction ?? 'auto'}-${options.positionsMm?.[1] ?? ''}`;
  const { notes } = await merge(frames, { out, crop: 'anchor', threads: 2, ...options });
  const { record, readDepth } = await readResult(out);
  return { record, notes, planes: record.frames.map(({ depth }) => depth), depth: await readDepth() };
}

describe('a stack whose picture shrinks', () => {
  it('is that of a rail that draws back where its travel is given, and the notes and the record say by what', async () => {
    const { stepMm } = stack.record;
    const { record, notes, planes } = await mergeBy(await shrinkingFrames(), { stepMm });
    expect(record).toMatchObject({ direction: 'far-to-near', directionBy: 'growth' });
    expect(planes.map((plane) => plane! / stepMm)).toEqual(
      [3, 2, 1, 0, -1, -2, -3].map((plane) => expect.closeTo(plane, 5)),
    );
    expect(notes.join()).toMatch(
      /from far to near: the picture shrinks from frame to frame, as it does when a rail moves the camera/,
    );
    expect(notes.join()).not.toContain('with direction');
  });

  it('has no known direction without the travel, for a lens may do the same', async () => {
    const { record, notes, planes } = await mergeBy(await shrinkingFrames());
    expect(record.direction).toBe('unknown');
    expect(planes).toEqual([-3, -2, -1, 0, 1, 2, 3]);
    expect(notes.join()).toMatch(
      /do not show which end.*If a rail moved the camera, the frames run from far to near.*with stepMm/,
    );
  });

  it('has its depth the other way round where the direction is given', async () => {
    const frames = await shrinkingFrames();
    const reverse = await mergeBy(frames, { direction: 'far-to-near' });
    const given = await mergeBy(frames, { direction: 'near-to-far' });
    expect(given.record).toMatchObject({
      direction: 'near-to-far',
      directionBy: 'option',
      options: { direction: 'near-to-far' },
    });
    expect(given.notes.join()).not.toContain('with direction');
    expect(given.planes).toEqual([-3, -2, -1, 0, 1, 2, 3]);
    expect(median(inner.map((i) => Math.abs(given.depth[i] + reverse.depth[i])))).toBeLessThan(0.02);
    // The truth is that of the rail, from near to far: its planes in reverse.
    expect(median(inner.map((i) => Math.abs(given.depth[i] + stack.depth[i])))).toBeLessThan(0.2);
  });

  it('goes by the focused distances in the EXIF, to infinity, unless the direction is given', async () => {
    // The last frame is focused at infinity: 0xFFFFFFFF (EXIF 2.32, SubjectDistance).
    const frames = await shrinkingFrames((k) => (k === 6 ? '4294967295/1' : `${8 + 3 * k}/10`));
    const { record, planes } = await mergeBy(frames);
    expect(record).toMatchObject({ direction: 'near-to-far', directionBy: 'focused distances' });
    expect(planes).toEqual([-3, -2, -1, 0, 1, 2, 3]);
    expect((await mergeBy(frames, { direction: 'far-to-near' })).planes).toEqual([3, 2, 1, 0, -1, -2, -3]);
  });

  it('takes from positions how far frames lie apart, and not which end is near', async () => {
    const frames = await shrinkingFrames();
    const rising = await mergeBy(frames, {
      direction: 'near-to-far',
      positionsMm: [0, 1, 2, 3, 4, 5, 6],
    });
    const falling = await mergeBy(frames, {
      direction: 'near-to-far',
      positionsMm: [6, 5, 4, 3, 2, 1, 0],
    });
    expect(rising.planes).toEqual([-3, -2, -1, 0, 1, 2, 3]);
    expect(falling.planes).toEqual(rising.planes);
  });
});

it('a check tells the direction as the merge takes it', async () => {
  const frames = await shrinkingFrames();
  const told = async (options: Parameters<typeof check>[1]) => {
    const { direction, directionBy, findings } = await check(frames, options);
    const { message, advice } = findings.find(({ kind }) => kind === 'direction')!;
    return { direction, directionBy, message, advice };
  };
  expect(await told({})).toMatchObject({
    direction: 'unknown',
    directionBy: undefined,
    message: expect.stringContaining('not known which end of the stack is near'),
    advice: expect.stringContaining('give direction far-to-near'),
  });
  expect(await told({ stepMm: stack.record.stepMm })).toEqual({
    direction: 'far-to-near',
    directionBy: 'growth',
    message:
      'The frames run from far to near: the picture shrinks from frame to frame, as it does when a rail moves the camera by this travel.',
    advice: '',
  });
  const positionsMm = Array.from({ length: 7 }, (_, k) => 9 - k * stack.record.stepMm);
  expect(await told({ positionsMm })).toEqual(await told({ stepMm: stack.record.stepMm }));
  expect(await told({ direction: 'near-to-far' })).toEqual({
    direction: 'near-to-far',
    directionBy: 'option',
    message: 'The frames run from near to far.',
    advice: '',
  });
});

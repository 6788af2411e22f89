import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { type RenderOptions, renderScene } from '../../samples/render-scene.js';
import { check } from '../../src/check/check.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeOptions } from '../../src/options/merge-options.js';
import { readResult } from '../../src/result/read-result.js';
import { makeFolder } from '../stack/pictures.js';
import { type Files, placeStack, readFiles, renderPlane } from './small-stack.js';

/** A camera that stands still, and a lens whose picture shrinks as it is focused farther: the reverse of a rail. */
const lens: Partial<RenderOptions> = { camera: 'still', breathingPercent: -6, format: 'png' };

/** The frames in reverse: pixels alone, for a time of capture would put them back in order. */
async function reversed(files: Files): Promise<Files> {
  const contents = await Promise.all(
    Object.values(files).map((content) => sharp(content).png({ compressionLevel: 1 }).toBuffer()),
  );
  return Object.fromEntries(
    contents.reverse().map((content, k) => [`${String(k + 1).padStart(4, '0')}.png`, content]),
  );
}

async function mergeFiles(files: Files, options: Partial<MergeOptions> = {}) {
  const { frames, out } = placeStack(files);
  const { notes } = await merge(frames, { out, threads: 2, ...options });
  const { record, readDepth } = await readResult(out);
  const report = readFileSync(join(out, 'report.html'), 'utf8');
  return { frames, record, notes: notes.join(' '), report, depth: await readDepth() };
}

describe('leaves before leaves, by a lens that breathes against a rail', () => {
  let files: Files;
  beforeAll(async () => {
    const out = makeFolder();
    await renderScene({ scene: 'leaves', seed: 4, width: 360, height: 270, frames: 14, out, ...lens });
    files = readFiles(join(out, 'frames'));
  });

  it('are told to run near-to-far, by merge and check alike, without a word about --direction', async () => {
    const { frames, record, notes } = await mergeFiles(files);
    expect(record).toMatchObject({ direction: 'near-to-far', directionBy: 'pictures' });
    const { pictures, growth } = record.directionEvidence!;
    expect(pictures!.z).toBeGreaterThan(4);
    // The growth says the reverse, and is sure.
    expect(growth!.perFrame).toBeLessThan(-4 * growth!.sigma);
    expect(notes).not.toContain('with direction');
    const checked = await check(frames);
    expect(checked).toMatchObject({ direction: 'near-to-far', directionBy: 'pictures' });
    expect(checked.findings.map(({ advice }) => advice).join()).not.toContain('with direction');
  });

  it('are told to run far-to-near in reverse order', async () => {
    // What a check tells a merge tells too: merge/one-judge.test.ts.
    const { frames } = placeStack(await reversed(files));
    const checked = await check(frames);
    expect(checked).toMatchObject({ direction: 'far-to-near', directionBy: 'pictures' });
    expect(checked.findings.map(({ advice }) => advice).join()).not.toContain('with direction');
  });

  it('contradict the user who gives the reverse, in merge and check alike, and do not overrule', async () => {
    const { frames, record, report } = await mergeFiles(files, { direction: 'far-to-near' });
    expect(record).toMatchObject({ direction: 'far-to-near', directionBy: 'option' });
    const found = record.findings!.filter(({ kind }) => kind === 'direction');
    expect(found).toEqual([
      expect.objectContaining({
        rank: 'flaw',
        message: expect.stringMatching(
          /^direction says that the frames run from far to near, but the pictures show .* near to far/,
        ),
      }),
    ]);
    expect(report).toContain('but the pictures show');
    const checked = await check(frames, { direction: 'far-to-near' });
    expect(checked.findings.filter(({ kind }) => kind === 'direction')).toEqual(found);
    expect(checked.fit).toBe(true);
  });

  it('contradict focused distances in the EXIF that run in reverse', async () => {
    const tagged = await Promise.all(
      Object.values(files).map((content, k) =>
        sharp(content)
          .withExif({ IFD2: { SubjectDistance: `${100 - 5 * k}/100` } })
          .png()
          .toBuffer(),
      ),
    );
    const { frames } = placeStack(
      Object.fromEntries(tagged.map((content, k) => [`${100 + k}.png`, content])),
    );
    const checked = await check(frames);
    expect(checked).toMatchObject({ direction: 'far-to-near', directionBy: 'focused distances' });
    expect(checked.findings.find(({ kind }) => kind === 'direction')).toMatchObject({
      rank: 'flaw',
      message: expect.stringMatching(/^The focused distances in the EXIF say .* but the pictures show/),
    });
  });
});

describe('a leaning plane by a lens that breathes', () => {
  // Half a per cent is as little, against this blur, as a rail's growth at large magnification.
  it.each([
    [6, 'near to far'],
    [-6, 'far to near'],
    [0.5, 'near to far'],
    [-0.5, 'far to near'],
  ])('by %s per cent has no known direction, and a rail is said as a condition', async (percent, order) => {
    const { files } = await renderPlane({ ...lens, breathingPercent: percent });
    const checked = await check(placeStack(files).frames);
    expect(checked).toMatchObject({ direction: 'unknown' });
    const said = checked.findings.map(({ message, advice }) => `${message} ${advice}`).join(' ');
    expect(said).toContain(`If a rail moved the camera, the frames run from ${order}`);
  });

  it('is merged with nothing that rests on a direction, and that is said', async () => {
    const { files } = await renderPlane({ ...lens, breathingPercent: -0.5 });
    const { record, notes, report } = await mergeFiles(files);
    expect(record.direction).toBe('unknown');
    expect(record.directionBy).toBeUndefined();
    expect(notes).toMatch(/which end of the stack is near.*capture order.* give direction/);
    expect(notes).not.toContain('was cleared');
    // Depth counts in capture order.
    expect(record.frames.map(({ depth }) => depth)).toEqual([-3, -2, -1, 0, 1, 2, 3]);
    // What grows may have been shot on a rail: that is said as a condition.
    expect(notes).toContain(`If a rail moved the camera, the frames run from far to near`);
    expect(report).toContain('which end is near is not known');
    expect(report).not.toMatch(/>\s*near, frame/);
  });
});

describe('a small, noisy insect head under a microscope, which shows no growth', () => {
  let files: Files;
  beforeAll(async () => {
    const out = makeFolder();
    const size = { width: 400, height: 300, frames: 16 };
    const microscope = { camera: 'still', noise: 3, stepPart: 0.6, format: 'png' } as const;
    await renderScene({ scene: 'insect-head', seed: 33, ...size, ...microscope, out });
    files = readFiles(join(out, 'frames'));
  });

  it.each([
    ['near-to-far', async (own: Files) => own],
    ['far-to-near', reversed],
  ] as const)('is told to run %s by its bristles', async (direction, order) => {
    const { frames } = placeStack(await order(files));
    expect(await check(frames)).toMatchObject({ direction, directionBy: 'pictures' });
  });
});

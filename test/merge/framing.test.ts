import { describe, expect, it } from 'vitest';
import { applyMatrix, identityMatrix, invertMatrix, similarityMatrix } from '../../src/image/transform.js';
import { frameComposite } from '../../src/merge/framing.js';
import { noteFraming } from '../../src/merge/note-framing.js';
import { RunLog } from '../../src/merge/run-log.js';
import type { UsedFrame } from '../../src/merge/used-frame.js';

const size = { width: 300, height: 200 };

const moved = (scale: number, shiftXPx = 0, shiftYPx = 0, rollRad = 0) =>
  similarityMatrix({ scale, rollRad, shiftXPx, shiftYPx }, size.width, size.height);

describe('the framing of a composite', () => {
  it('is the whole picture where all frames lie alike, and where the anchor is to be kept', () => {
    const still = [identityMatrix, identityMatrix];
    expect(frameComposite('common', size, still).crop).toEqual({ x: 0, y: 0, ...size });
    expect(frameComposite('anchor', size, [identityMatrix, moved(0.9)])).toMatchObject({
      crop: { x: 0, y: 0, ...size },
      isCut: false,
    });
  });

  it('is what every frame reaches with room to resample it, and hardly less', () => {
    const frames = [
      identityMatrix,
      moved(0.97, 3.4, -2.2, 0.004),
      moved(1.02, -5, 7.6),
      moved(0.985, 0, 0, -0.01),
    ];
    const { crop, isCut } = frameComposite('common', size, frames);
    expect(isCut).toBe(true);
    /** Least distance of a pixel to the edge of a frame that is resampled, px. */
    const room = (x: number, y: number) =>
      Math.min(
        ...frames.slice(1).map((m) => {
          const [u, v] = applyMatrix(invertMatrix(m), x, y);
          return Math.min(u, v, size.width - 1 - u, size.height - 1 - v);
        }),
      );
    const [right, bottom] = [crop.x + crop.width - 1, crop.y + crop.height - 1];
    const corners = (by: number) =>
      [crop.x - by, right + by].flatMap((x) => [crop.y - by, bottom + by].map((y) => room(x, y)));
    for (const px of corners(0)) expect(px).toBeGreaterThan(2 - 1e-9);
    // Turned frames leave corners over: four pixels farther out each of them is left by some frame.
    for (const px of corners(4)) expect(px).toBeLessThan(2);
  });

  it('names the one frame that takes much of it', () => {
    const frames = [identityMatrix, moved(0.99), moved(1, 60), moved(1, 2)];
    const { crop, costly } = frameComposite('common', size, frames);
    expect(crop.x).toBe(62);
    expect(costly?.index).toBe(2);
    // Columns 4 to 61 of 300, and no rows.
    expect(costly?.part).toBeCloseTo(58 / 300, 1);
    expect(frameComposite('common', size, [identityMatrix, moved(0.998)]).costly).toBeUndefined();
  });

  it('stays whole where frames have less than half of it in common', () => {
    const { crop, isCut, commonPart } = frameComposite('common', size, [identityMatrix, moved(1, 170)]);
    expect([crop, isCut]).toEqual([{ x: 0, y: 0, ...size }, false]);
    expect(commonPart).toBeLessThan(0.5);
  });
});

describe('what is said of the framing', () => {
  const used = [1, 2, 3].map((number) => ({ file: { name: `bee_${number}.jpg`, number } }) as UsedFrame);

  function saidOf(wish: 'common' | 'anchor', shiftXPx: number) {
    const log = new RunLog({});
    const frames = [identityMatrix, moved(1, shiftXPx), identityMatrix];
    noteFraming(wish, frameComposite(wish, size, frames), used, log);
    return { notes: log.notes, warnings: log.warnings };
  }

  it('is a note with the size of the cut and how to keep the whole, and the frame that costs most of it', () => {
    const { notes, warnings } = saidOf('common', 40);
    expect(warnings).toEqual([]);
    expect(notes).toEqual([
      expect.stringMatching(/cut to the 258 x 196 pixels .* 84\.3 % .*crop anchor\. bee_2\.jpg .* skip 2\.$/),
    ]);
  });

  it('is a warning where the whole is kept because too little is in common', () => {
    const { notes, warnings } = saidOf('common', 170);
    expect(notes).toEqual([]);
    expect(warnings).toEqual([
      expect.stringMatching(/only 41\.8 % .* keeps the whole framing.* bee_2\.jpg .* skip 2\.$/),
    ]);
  });

  it('is nothing where hardly anything is cut, or the whole was asked for', () => {
    expect(saidOf('common', 0)).toEqual({ notes: [], warnings: [] });
    expect(saidOf('anchor', 40)).toEqual({ notes: [], warnings: [] });
  });
});

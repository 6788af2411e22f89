import { describe, expect, it } from 'vitest';
import { randomFrom } from '../kernels/kernel-rig.js';
import { discMean, drawPadded } from './disc-mean.js';
import { mergeDrawn } from './merge-drawn.js';

const size = { width: 256, height: 192 };
const count = 20;
/** Ordinals at which the line and the facets behind it are in focus. */
const [lineAt, facetsAt] = [6, 14];
const blurPx = 1.4;
const [ground, lineTone, lineWidth] = [150, 110, 1.6];

/** Facets: dark seams between bright grainy cells of 17 by 19 px, as strong as the line. */
const facets = (x: number, y: number) => {
  const grain = Math.sin(x * 1.1 + 3 * Math.sin(y * 0.37)) * Math.cos(y * 1.3 + 2 * Math.sin(x * 0.23));
  const seam = Math.min(Math.abs(Math.cos((Math.PI * x) / 17)), Math.abs(Math.cos((Math.PI * y) / 19)));
  return ground + 22 * grain + 45 - 90 * Math.max(0, 1 - 5 * seam);
};
/** Part of a pixel that the line covers: from corner to corner, flat. */
const line = (x: number, y: number) =>
  Math.max(0, Math.min(1, lineWidth / 2 + 0.5 - Math.abs(y - 40 - 0.4 * x) / Math.hypot(1, 0.4)));

/** Pixels about the picture that the widest blur brings in. */
const pad = Math.ceil(blurPx * count);
const [facetsDrawn, lineDrawn] = [drawPadded(size, pad, facets), drawPadded(size, pad, line)];

function frame(ordinal: number): Uint8Array {
  const behind = discMean(facetsDrawn, blurPx * Math.abs(ordinal - facetsAt));
  const cover = discMean(lineDrawn, blurPx * Math.abs(ordinal - lineAt));
  const random = randomFrom(ordinal);
  return Uint8Array.from({ length: behind.length * 3 }, (_, i) => {
    const p = Math.floor(i / 3);
    const noise = 1.5 * (random() + random() + random() - 1.5);
    return Math.round(behind[p] * (1 - cover[p]) + lineTone * cover[p] + noise);
  });
}

const frames = Array.from({ length: count }, (_, k) => frame(k + 1));

function merge(nearSign: -1 | 1): Promise<Uint8Array> {
  return mergeDrawn(nearSign === 1 ? frames : [...frames].reverse(), size, 'auto', nearSign, () => ({
    blurPx,
    lost: 0,
  }));
}

/** Root mean square difference of the green channel from what is there, over the pixels that `where` names. */
function error(picture: Uint8Array, where: (x: number, y: number) => boolean): number {
  let [sum, pixels] = [0, 0];
  for (let y = 16; y < size.height - 16; y++) {
    for (let x = 16; x < size.width - 16; x++) {
      if (!where(x, y)) continue;
      const truth = facets(x, y) * (1 - line(x, y)) + lineTone * line(x, y);
      sum += (picture[(y * size.width + x) * 3 + 1] - truth) ** 2;
      pixels++;
    }
  }
  return Math.sqrt(sum / pixels);
}

describe.each([1, -1] as const)('a thin line before facets as strong as it, near sign %i', (nearSign) => {
  it('is whole from end to end, and the facets are sharp up to it', async () => {
    const picture = await merge(nearSign);
    // The line stands out against what lies 4 px to either side, on average over each 8 px of its length.
    const shown: number[] = [];
    for (let from = 24; from < size.width - 32; from += 8) {
      let depth = 0;
      for (let x = from; x < from + 8; x++) {
        const y = Math.round(40 + 0.4 * x);
        const tone = (v: number) => picture[((y + v) * size.width + x) * 3 + 1];
        const truth = (v: number) => facets(x, y + v) * (1 - line(x, y + v)) + lineTone * line(x, y + v);
        depth += (tone(0) - (tone(4) + tone(-4)) / 2) / (truth(0) - (truth(4) + truth(-4)) / 2) / 8;
      }
      shown.push(depth);
    }
    // Taken from one frame alone, now the line's and now the facets', it would have gaps: 0.18 at its faintest.
    expect(Math.min(...shown)).toBeGreaterThan(0.45);
    const beside = error(picture, (x, y) => line(x, y) === 0 && Math.abs(y - 40 - 0.4 * x) < 6);
    const far = error(picture, (x, y) => Math.abs(y - 40 - 0.4 * x) > 20);
    expect(far).toBeLessThan(4);
    expect(beside).toBeLessThan(11.2);
  });
});

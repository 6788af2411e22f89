import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeAll, describe, expect, it } from 'vitest';
import { renderScene } from '../../samples/render-scene.js';
import { merge } from '../../src/index.js';
import { doubled, halvedFrom, surfaceLevelFor } from '../../src/surface/surface.js';
import { makeFolder } from '../stack/pictures.js';

const { pixels: fromPixels } = halvedFrom;
const size = { width: 201, height: 151 };

async function floatsOf(file: string): Promise<Float32Array> {
  const data = await sharp(file).toColourspace('b-w').raw({ depth: 'float' }).toBuffer();
  return new Float32Array(new Uint8Array(data).buffer);
}

describe('the surface of select at half the size', () => {
  const parent = makeFolder();
  beforeAll(async () => {
    await renderScene({ scene: 'insect-head', out: parent, ...size, frames: 9 });
  });
  afterEach(() => {
    halvedFrom.pixels = fromPixels;
  });

  it('leaves sources as they are, the picture all but so, and depth where a surface is plain', async () => {
    const mergeFrom = async (pixels: number) => {
      halvedFrom.pixels = pixels;
      const out = join(parent, `from-${pixels}`);
      const given = { rule: 'select', crop: 'anchor', direction: 'near-to-far', threads: 2 } as const;
      await merge(join(parent, 'frames'), { out, ...given });
      return out;
    };
    const outs = [await mergeFrom(fromPixels), await mergeFrom(0)];
    const [sources, otherSources] = outs.map((out) => readFileSync(join(out, 'sources.png')));
    expect(otherSources.equals(sources)).toBe(true);
    const [picture, otherPicture] = await Promise.all(
      outs.map((out) => sharp(join(out, 'composite.tif')).raw().toBuffer()),
    );
    const apart = picture.map((value, i) => Math.abs(value - otherPicture[i]));
    expect(apart.filter((difference) => difference > 2).length).toBeLessThan(0.0025 * apart.length);
    const [depth, otherDepth] = await Promise.all(outs.map((out) => floatsOf(join(out, 'depth.tif'))));
    const { data: confidence, info } = await sharp(join(outs[1], 'confidence.png'))
      .toColourspace('b-w')
      .raw()
      .toBuffer({ resolveWithObject: true });
    expect(info).toMatchObject(size);
    const differences = [...depth.keys()]
      .filter((i) => confidence[i] > 200)
      .map((i) => Math.abs(depth[i] - otherDepth[i]))
      .sort((first, second) => first - second);
    expect(differences.length).toBeGreaterThan(0.2 * depth.length);
    expect(differences[differences.length >> 1]).toBeLessThan(0.25);
    expect(differences[Math.floor(0.9 * differences.length)]).toBeLessThan(1);
  });

  it('is found so in large pictures of select alone, and not where a step is long', () => {
    const large = { width: 3000, height: 2000 };
    expect(surfaceLevelFor('select', large, [1, 1])).toBe(1);
    expect(surfaceLevelFor('select', { width: 1600, height: 1200 }, [1, 1])).toBe(0);
    expect(surfaceLevelFor('auto', large, [1, 1])).toBe(0);
    expect(surfaceLevelFor('weigh', large, [1, 1])).toBe(0);
    // What the finest detail misses there coarser detail does not show.
    expect(surfaceLevelFor('select', large, [1, 1.8])).toBe(0);
  });

  it('doubles maps of odd sizes', () => {
    expect([...doubled(Uint8Array.of(1, 2, 3, 4), { width: 3, height: 3 })]).toEqual([
      1, 1, 2, 1, 1, 2, 3, 3, 4,
    ]);
    expect([...doubled(Uint8Array.of(1, 2), { width: 4, height: 2 })]).toEqual([1, 1, 2, 2, 1, 1, 2, 2]);
  });
});

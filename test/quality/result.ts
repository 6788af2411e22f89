import { createHash } from 'node:crypto';
import { existsSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import sharp from 'sharp';
import type { Matrix3 } from '../../src/image/transform.js';
import { coverageClasses } from '../../src/result/coverage.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { type Raster, readRaster } from './raster.js';
import type { Scene, SceneRecord } from './scene.js';

/** A picture to be judged, with the maps that came with it. */
export interface Result {
  composite: Raster;
  /** Nominal steps from the anchor's plane of focus, positive away, shape (rows, cols); NaN = none. */
  depthSteps?: Float32Array | undefined;
  /** 0 to 1, and the index of the coverage class, shape (rows, cols). */
  confidence?: Float32Array | undefined;
  coverage?: Uint8Array | undefined;
  /** Frame → anchor in capture order; undefined for a frame left out. */
  transforms?: (Matrix3 | undefined)[] | undefined;
}

/**
 * Reads a result folder of a scene. Maps and `run.json` may be missing.
 * Rejects when there is no composite, when the run kept another frame's framing than the scene's truth, or when it
 * merged other frames: those of a scene rendered anew under the same name look alike and would measure wrongly.
 */
export async function readResult(
  dir: string,
  { record: scene, framePaths }: Pick<Scene, 'record' | 'framePaths'>,
): Promise<Result> {
  const path = ['tif', 'png', 'jpg']
    .map((type) => join(dir, `composite.${type}`))
    .find((file) => existsSync(file));
  if (path === undefined) throw new Error(`Expected composite.tif, .png or .jpg in ${dir} but there is none`);
  const run = await readRun(join(dir, 'run.json'));
  if (run.anchorNumber !== undefined && run.anchorNumber !== scene.anchor) {
    throw new Error(
      `Expected a merge with --anchor ${scene.anchor} but the anchor of ${dir} is ${run.anchorNumber}`,
    );
  }
  await checkFrames(dir, run, framePaths);
  const depthPath = join(dir, 'depth.tif');
  const [composite, depth, confidence, coverage] = await Promise.all([
    readRaster(path),
    existsSync(depthPath) ? readDepth(depthPath) : undefined,
    readConfidence(join(dir, 'confidence.png')),
    readCoverage(join(dir, 'coverage.png')),
  ]);
  return {
    composite,
    depthSteps: depth && toSteps(depth, run, scene),
    confidence,
    coverage,
    transforms: run.frames && transformsOf(run.frames, scene.positionsMm.length),
  };
}

async function readConfidence(path: string): Promise<Float32Array | undefined> {
  if (!existsSync(path)) return undefined;
  const data = await sharp(path).toColourspace('b-w').raw().toBuffer();
  return Float32Array.from(data, (value) => value / 255);
}

/** The palette's colours back to the index of their class. */
async function readCoverage(path: string): Promise<Uint8Array | undefined> {
  if (!existsSync(path)) return undefined;
  const { data, info } = await sharp(path)
    .removeAlpha()
    .toColourspace('srgb')
    .raw()
    .toBuffer({ resolveWithObject: true });
  const index = new Map(coverageClasses.map(({ rgb: [r, g, b] }, i) => [(r << 16) | (g << 8) | b, i]));
  const classes = new Uint8Array(info.width * info.height);
  for (let i = 0; i < classes.length; i++) {
    const colour = (data[3 * i] << 16) | (data[3 * i + 1] << 8) | data[3 * i + 2];
    classes[i] = index.get(colour) ?? 255;
  }
  return classes;
}

async function readRun(path: string): Promise<Partial<RunRecord>> {
  return existsSync(path) ? (JSON.parse(await readFile(path, 'utf8')) as Partial<RunRecord>) : {};
}

async function checkFrames(
  dir: string,
  run: Partial<RunRecord>,
  framePaths: readonly string[],
): Promise<void> {
  const pathOf = new Map(framePaths.map((path) => [basename(path), path]));
  for (const { name, sha256 } of run.frames ?? []) {
    const path = pathOf.get(name);
    const found =
      path &&
      createHash('sha256')
        .update(await readFile(path))
        .digest('hex');
    if (found !== sha256) {
      throw new Error(`Expected a merge of this scene's frames but ${dir} was merged from another ${name}`);
    }
  }
}

function transformsOf(frames: RunRecord['frames'], count: number): (Matrix3 | undefined)[] {
  const transforms: (Matrix3 | undefined)[] = new Array(count).fill(undefined);
  for (const { number, used, transform } of frames) if (used && transform) transforms[number - 1] = transform;
  return transforms;
}

/**
 * Millimetres are divided by the nominal step. Without a known step a depth says between which frames a pixel was
 * sharpest: it is carried through the frames' own depths in the record to the true positions of those frames,
 * so that irregular travel, which such a merge cannot know, is no error.
 */
function toSteps(depth: Float32Array, run: Partial<RunRecord>, scene: SceneRecord): Float32Array {
  if (run.maps?.depth.unit === 'mm') return depth.map((mm) => mm / scene.stepMm);
  const truth = frameSteps(scene);
  const away = Math.sign(truth[truth.length - 1] - truth[0]);
  const known = run.frames?.filter((frame) => frame.used && frame.depth !== null) ?? [];
  const knots: [number, number][] =
    known.length > 1
      ? known.map((frame) => [frame.depth as number, truth[frame.number - 1]])
      : truth.map((steps, k) => [away * (k - (scene.anchor - 1)), steps]);
  return interpolate(depth, knots);
}

/** Depth of each frame's plane of focus in nominal steps from the anchor's. */
export function frameSteps({ positionsMm, anchor, stepMm }: SceneRecord): number[] {
  return positionsMm.map((mm) => (mm - positionsMm[anchor - 1]) / stepMm);
}

/** Piecewise linear through knots (x, y) in any order, carried on past the outer ones. */
export function interpolate(
  values: Float32Array,
  knots: readonly (readonly [number, number])[],
): Float32Array {
  const sorted = [...knots].sort(([first], [second]) => first - second);
  const last = sorted.length - 1;
  return values.map((value) => {
    let k = 1;
    while (k < last && sorted[k][0] < value) k++;
    const [x0, y0] = sorted[k - 1];
    const [x1, y1] = sorted[k];
    return y0 + ((value - x0) * (y1 - y0)) / (x1 - x0);
  });
}

async function readDepth(path: string): Promise<Float32Array> {
  const { data } = await sharp(path)
    .toColourspace('b-w')
    .extractChannel(0)
    .raw({ depth: 'float' })
    .toBuffer({ resolveWithObject: true });
  return new Float32Array(data.buffer.slice(data.byteOffset, data.byteOffset + data.byteLength));
}

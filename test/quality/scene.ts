import { existsSync } from 'node:fs';
import { readdir, readFile } from 'node:fs/promises';
import { basename, join, resolve } from 'node:path';
import ops from 'ndarray-ops';
import sharp from 'sharp';
import type { Matrix3 } from '../../src/image/transform.js';
import { partOf, viewOf } from '../../src/image/view.js';
import { detailedMask, texturedMask } from './metrics/depth.js';
import { findDepthEdges } from './metrics/depth-edges.js';
import { lumaOf, type Raster, readRaster } from './raster.js';
import { frameSteps } from './result.js';

/** The fields of a rendered scene's `truth/scene.json` that are read here. */
export interface SceneRecord {
  width: number;
  height: number;
  /** Number of the anchor, counted from 1. */
  anchor: number;
  /** Nominal travel between frames: the unit of the true depth. */
  stepMm: number;
  /** Width of the anchor's field at its plane of focus; of ray-traced scenes not told. */
  fieldWidthMm?: number;
  /** Position of each frame's plane of focus, mm, growing away from the camera. */
  positionsMm: number[];
  /** Frame → anchor, 3x3 row-major, one a frame. */
  transforms: Matrix3[];
  /** Rectangles of plain background, px. */
  background?: { x: number; y: number; width: number; height: number }[];
}

/** A rendered scene with what the metrics need of its truth. Planes and masks have shape (rows, cols). */
export interface Scene {
  name: string;
  record: SceneRecord;
  /** Paths of the frames in capture order. */
  framePaths: string[];
  truth: Raster;
  truthLuma: Float32Array;
  /** Steps from the anchor's plane of focus, positive away; NaN = unknown. */
  depth: Float32Array;
  /** 1 where results are judged: the truth is known, and 16 px or more from the border. */
  judged: Uint8Array;
  /** Distance to the nearest depth edge, px. */
  edgeDistancePx: Float32Array;
  /** Judged pixels in the ring on the far side of depth edges where glow shows. */
  farRing: Uint8Array;
  /** Judged pixels where depth is judged. */
  textured: Uint8Array;
  /** Judged pixels with texture, beside depth edges and beyond the frames' range too. */
  detailed: Uint8Array;
  /** Judged pixels of hairs, needles and the like; undefined where the scene names none. */
  thin?: Uint8Array | undefined;
  /** Judged pixels of plain background. */
  background: Uint8Array;
}

/** Results are not judged nearer than this to the border, px. */
const borderPx = 16;

/** Reads a scene folder as `samples/render.ts` writes it. Rejects when a file is missing or has another size. */
export async function readScene(dir: string): Promise<Scene> {
  const truthDir = join(dir, 'truth');
  const record = JSON.parse(await readFile(join(truthDir, 'scene.json'), 'utf8')) as SceneRecord;
  const { width, height } = record;
  const [truth, depth, known, thin, names] = await Promise.all([
    readRaster(join(truthDir, 'composite.png')),
    readFloats(join(truthDir, 'depth.f32'), width * height),
    readMask(join(truthDir, 'known.png')),
    readMask(join(truthDir, 'thin.png')),
    readdir(join(dir, 'frames')),
  ]);
  if (truth.width !== width || truth.height !== height) {
    throw new Error(
      `Expected a truth of ${width} x ${height} in ${truthDir} but it is ${truth.width} x ${truth.height}`,
    );
  }
  const judged = new Uint8Array(width * height);
  const inner = { x: borderPx, y: borderPx, width: width - 2 * borderPx, height: height - 2 * borderPx };
  ops.assigns(partOf(viewOf(judged, record), inner), 1);
  if (known !== undefined) for (let i = 0; i < judged.length; i++) if (known[i] === 0) judged[i] = 0;
  const truthLuma = lumaOf(truth);
  const { distancePx, farRing } = findDepthEdges(depth, width, height);
  const steps = frameSteps(record);
  const range = [Math.min(...steps), Math.max(...steps)] as const;
  return {
    name: basename(resolve(dir)),
    record,
    framePaths: names.sort().map((name) => join(dir, 'frames', name)),
    truth,
    truthLuma,
    depth,
    judged,
    edgeDistancePx: distancePx,
    farRing: intersect(farRing, judged),
    textured: texturedMask(truthLuma, depth, distancePx, judged, range, width, height),
    detailed: detailedMask(truthLuma, judged, width, height),
    thin: thin && intersect(thin, judged),
    background: intersect(plainBackground(record, depth, distancePx, range), judged),
  };
}

/** The record's rectangles, or else what lies over 3 steps behind the last frame and over 40 px from depth edges. */
function plainBackground(
  { background, ...size }: SceneRecord,
  depth: Float32Array,
  distancePx: Float32Array,
  range: readonly [number, number],
): Uint8Array {
  const mask = new Uint8Array(depth.length);
  if (background !== undefined) {
    for (const box of background) ops.assigns(partOf(viewOf(mask, size), box), 1);
    return mask;
  }
  return mask.map((_, i) => (depth[i] > range[1] + 3 && distancePx[i] > 40 ? 1 : 0));
}

function intersect(first: Uint8Array, second: Uint8Array): Uint8Array {
  return first.map((inside, i) => inside & second[i]);
}

async function readFloats(path: string, count: number): Promise<Float32Array> {
  const bytes = await readFile(path);
  if (bytes.byteLength !== count * 4) {
    throw new Error(`Expected ${count * 4} bytes in ${path} but it has ${bytes.byteLength}`);
  }
  return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength));
}

async function readMask(path: string): Promise<Uint8Array | undefined> {
  if (!existsSync(path)) return undefined;
  const { data } = await sharp(path).toColourspace('b-w').raw().toBuffer({ resolveWithObject: true });
  return data;
}

import { existsSync } from 'node:fs';
import { mkdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { depthOfFieldMm } from '../../../samples/camera.js';
import { commonDefaults } from '../../../samples/render-scene.js';
import { createRenderer, planRender } from '../../../samples/renderer.js';
import type { Scene, SceneSize } from '../../../samples/scene.js';
import { insectHead } from '../../../samples/scenes/insect-head.js';
import { seedHead } from '../../../samples/scenes/seed-head.js';
import { tiltedPlane } from '../../../samples/scenes/tilted-plane.js';
import { decodeLight, encodePicture } from '../../../samples/sensor.js';
import { planShots } from '../../../samples/shoot.js';
import { cacheDir } from '../data.js';
import { hashFiles } from '../scenes.js';

/** Size of a stack: pixels of a frame, and frames. */
export interface StackSize {
  width: number;
  height: number;
  frames: number;
}

export const plainSize: StackSize = { width: 640, height: 480, frames: 24 };

const scenes = {
  'tilted-plane': tiltedPlane,
  'insect-head': insectHead,
  'seed-head': seedHead,
} satisfies Record<string, (size: SceneSize, seed: number) => Scene>;

export type PlainScene = keyof typeof scenes;
export const plainScenes = Object.keys(scenes) as PlainScene[];

/** Travel errors and handling that every bench has; faults come on top. */
const bench = { ...commonDefaults, flickerPercent: 0, irregularPercent: 10 };

/** Nominal travel of the rail between frames. */
export const plainStepMm = bench.stepPart * depthOfFieldMm(bench, 2);

/** A stack as light on a perfect sensor: no noise, no flicker, no dust. */
export interface PlainStack {
  size: StackSize;
  /** Linear light of each frame, (height, width, 3), 0 to 1. */
  readFrame(index: number): Promise<Float32Array>;
  /** How far each frame travelled from the one before, in nominal steps; the first is 0. */
  travel: number[];
}

/** The plain stack of a scene and a seed, from the cache or rendered (about half a minute). */
export async function plainStack(
  scene: PlainScene,
  seed: number,
  size: StackSize = plainSize,
): Promise<PlainStack> {
  const sources = fileURLToPath(new URL('../../../samples', import.meta.url));
  const hash = await hashFiles(sources, JSON.stringify({ scene, seed, bench, plainSize: size }));
  const dir = join(cacheDir, 'faults', `${scene}-${seed}-${hash}`);
  if (!existsSync(dir)) await render(scene, seed, size, dir);
  const kept: Uint16Array[] = [];
  return {
    size,
    async readFrame(index) {
      kept[index] ??= await readEncoded(framePath(dir, index));
      const encoded = kept[index];
      const linear = new Float32Array(encoded.length);
      for (let i = 0; i < linear.length; i++) linear[i] = lightOf[encoded[i]];
      return linear;
    },
    travel: JSON.parse(await readFile(join(dir, 'travel.json'), 'utf8')) as number[],
  };
}

const lightOf = Float32Array.from({ length: 65536 }, (_, value) => decodeLight(value / 65535));

async function readEncoded(path: string): Promise<Uint16Array> {
  const bytes = await sharp(path).toColourspace('rgb16').raw({ depth: 'ushort' }).toBuffer();
  return new Uint16Array(bytes.buffer, bytes.byteOffset, bytes.byteLength / 2);
}

function framePath(dir: string, index: number): string {
  return join(dir, `${String(index + 1).padStart(4, '0')}.png`);
}

async function render(
  sceneName: PlainScene,
  seed: number,
  { width, height, frames }: StackSize,
  dir: string,
): Promise<void> {
  const shots = planShots(frames, plainStepMm, bench, seed);
  const plan = planRender(width, height, bench, plainStepMm, shots);
  const renderer = createRenderer(scenes[sceneName](plan.size, seed), plan);
  const aside = `${dir}.${process.pid}`;
  try {
    await mkdir(aside, { recursive: true });
    for (const [k, shot] of shots.entries()) {
      const pixels = encodePicture(renderer.drawFrame(shot).linear, 16);
      await sharp(pixels, { raw: { width, height, channels: 3 } })
        .toColourspace('rgb16')
        .png({ compressionLevel: 1 })
        .toFile(framePath(aside, k));
    }
    const positions = shots.map(({ pose }) => pose.positionMm / plainStepMm);
    const travel = positions.map((position, k) => (k === 0 ? 0 : position - positions[k - 1]));
    await writeFile(join(aside, 'travel.json'), JSON.stringify(travel));
    await rename(aside, dir);
  } finally {
    await rm(aside, { recursive: true, force: true });
  }
}

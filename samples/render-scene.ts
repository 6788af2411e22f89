import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { UsageError } from '../src/errors.js';
import type { Matrix3 } from '../src/image/transform.js';
import { depthOfFieldMm, frameToAnchor, type Optics } from './camera.js';
import { blurByLens } from './lens-blur.js';
import { plainRectangles, type Rectangle } from './plain.js';
import { createRenderer, planRender } from './renderer.js';
import type { Scene, SceneSize } from './scene.js';
import { insectHead } from './scenes/insect-head.js';
import { leaves } from './scenes/leaves.js';
import { type Photo, photoScene } from './scenes/photo.js';
import { seedHead } from './scenes/seed-head.js';
import { tiltedPlane } from './scenes/tilted-plane.js';
import { createSensor, encodePicture, exposeSensor, type SensorOptions } from './sensor.js';
import { anchorNumber, planShots, type ShootOptions } from './shoot.js';
import { type FrameFormat, writeFrame } from './write-frame.js';

export type SceneName = 'leaves' | 'seed-head' | 'insect-head' | 'tilted-plane' | 'photo';

/** What is rendered. Every field but `scene` and `out` has a default, see `sceneDefaults` and `commonDefaults`. */
export interface RenderOptions extends Optics, ShootOptions, SensorOptions {
  scene: SceneName;
  /** Folder that gets `frames` and `truth`; made when missing. */
  out: string;
  seed: number;
  width: number;
  height: number;
  frames: number;
  /** Standard deviation of the blur that the lens has in focus, in frames and truth alike, px; 0 = none. */
  lensBlurPx: number;
  /** Nominal step as a part of the depth of field for a circle of confusion of 2 px. */
  stepPart: number;
  /** Whether the camera rides on a rail or stands still, so far off that nothing changes its perspective, and its lens is focused. */
  camera: 'rail' | 'still';
  format: FrameFormat;
  /** JPEG quality, 1 to 100; chroma is kept at full size. */
  quality: number;
  /** The photograph of the scene `photo`. */
  photo?: Photo;
}

/** Circle of confusion for the depth of field, px. */
const circlePx = 2;

export const commonDefaults = {
  seed: 1,
  focalLengthMm: 50,
  fNumber: 5.6,
  magnification: 2.5,
  pixelPitchUm: 4,
  lensBlurPx: 0,
  stepPart: 0.7,
  shiftPx: 3,
  rollDeg: 0.1,
  flickerPercent: 2,
  irregularPercent: 0,
  breathingPercent: 0,
  camera: 'rail',
  blurredFrames: 0,
  smearPx: 8,
  order: 'near-to-far',
  noise: 1.6,
  dust: 0,
  hotPixels: 0,
  bits: 8,
  format: 'jpg',
  quality: 95,
} as const;

export const sceneDefaults: Record<SceneName, { width: number; height: number; frames: number }> = {
  leaves: { width: 1200, height: 900, frames: 24 },
  'seed-head': { width: 1200, height: 800, frames: 24 },
  'insect-head': { width: 1600, height: 1200, frames: 33 },
  'tilted-plane': { width: 1600, height: 1200, frames: 33 },
  photo: { width: 1282, height: 1110, frames: 26 },
};

/** The record of a rendered scene, `truth/scene.json`. Frames count from 1. */
export interface SceneRecord {
  schema: 'lamella-sample/1';
  scene: SceneName;
  seed: number;
  width: number;
  height: number;
  frames: number;
  anchor: number;
  /** Nominal travel between frames: the unit of `truth/depth.f32`. */
  stepMm: number;
  depthOfFieldMm: number;
  magnification: number;
  fNumber: number;
  focalLengthMm: number;
  pixelPitchUm: number;
  /** Width of the anchor's field at its plane of focus. */
  fieldWidthMm: number;
  /** Position of each frame's plane of focus from the anchor's, growing away from the camera. */
  positionsMm: number[];
  /** Frame pixel to anchor pixel for what lies in the frame's plane of focus: 3x3, row-major. */
  transforms: Matrix3[];
  /** Light of red, green and blue relative to the anchor's: factors in linear light. */
  gains: [number, number, number][];
  blurredFrames: number[];
  /** Places, in the anchor's framing, where no frame shows anything but the smooth backdrop. */
  background: Rectangle[];
  /** Depth of the backdrop in steps, null where the scene has none. */
  backdropDepth: number | null;
}

export interface RenderProgress {
  done: number;
  frames: number;
}

type Given = Pick<RenderOptions, 'scene' | 'out'> & Partial<RenderOptions>;

/** Renders a scene into a folder and resolves to its record. Equal options give equal bytes. */
export async function renderScene(
  given: Given,
  onProgress: (progress: RenderProgress) => void = () => {},
): Promise<SceneRecord> {
  const options: RenderOptions = {
    ...commonDefaults,
    ...sceneDefaults[given.scene],
    ...photoSize(given),
    ...given,
  };
  checkOptions(options);
  const { width, height, frames, seed, out } = options;
  const depthOfField = depthOfFieldMm(options, circlePx);
  const stepMm = options.stepPart * depthOfField;
  const shots = planShots(frames, stepMm, options, seed);
  const anchor = anchorNumber(frames);
  const plan = planRender(width, height, opticsOf(options), stepMm, shots);
  const scene = makeScene(options, plan.size);
  const renderer = createRenderer(scene, plan);
  const sensor = createSensor(width, height, options, seed);
  await mkdir(join(out, 'frames'), { recursive: true });
  await mkdir(join(out, 'truth'), { recursive: true });

  const plain = new Uint8Array(width * height).fill(1);
  let writing: Promise<void> = Promise.resolve();
  for (const [k, shot] of shots.entries()) {
    const drawn = renderer.drawFrame(shot);
    if (options.lensBlurPx > 0) blurByLens(drawn.linear, width, height, options.lensBlurPx);
    for (let i = 0; i < plain.length; i++) plain[i] &= drawn.plain[i];
    exposeSensor(drawn.linear, sensor, k + 1);
    const pixels = encodePicture(drawn.linear, options.bits);
    // Encoding runs beside the drawing of the next frame.
    await writing;
    writing = writeFrame(join(out, 'frames'), k + 1, pixels, options);
    onProgress({ done: k + 1, frames });
  }
  await writing;

  const truth = renderer.drawTruth(shots[anchor - 1].pose);
  if (options.lensBlurPx > 0) blurByLens(truth.linear, width, height, options.lensBlurPx);
  await writeRgb16(join(out, 'truth', 'composite.png'), encodePicture(truth.linear, 16), width, height);
  await writeFile(join(out, 'truth', 'depth.f32'), new Uint8Array(truth.depth.buffer));
  if (scene.known !== undefined) {
    await sharp(scene.known, { raw: { width, height, channels: 1 } })
      .toColourspace('b-w')
      .png()
      .toFile(join(out, 'truth', 'known.png'));
  }
  const record: SceneRecord = {
    schema: 'lamella-sample/1',
    scene: options.scene,
    seed,
    width,
    height,
    frames,
    anchor,
    stepMm,
    depthOfFieldMm: depthOfField,
    magnification: options.magnification,
    fNumber: options.fNumber,
    focalLengthMm: options.focalLengthMm,
    pixelPitchUm: options.pixelPitchUm,
    fieldWidthMm: (width * options.pixelPitchUm) / 1000 / options.magnification,
    positionsMm: shots.map(({ pose }) => pose.positionMm),
    transforms: shots.map(({ pose }) =>
      frameToAnchor(plan.optics, pose, shots[anchor - 1].pose, width, height),
    ),
    gains: shots.map(({ gains }) => gains),
    blurredFrames: shots.flatMap(({ smearXPx, smearYPx }, k) =>
      smearXPx !== 0 || smearYPx !== 0 ? [k + 1] : [],
    ),
    background: plainRectangles(plain, width, height, plan.size.margin - plan.maxRadiusPx),
    backdropDepth: scene.backdrop?.depth ?? null,
  };
  await writeFile(join(out, 'truth', 'scene.json'), `${JSON.stringify(record, null, 1)}\n`);
  return record;
}

/** Focal length at which perspective does not change over any stack; the blur of a step depends on it to second order alone. */
const farFocalLengthMm = 1e6;

function opticsOf(options: RenderOptions): Optics {
  return options.camera === 'rail' ? options : { ...options, focalLengthMm: farFocalLengthMm };
}

function photoSize({ scene, photo }: Given): { width: number; height: number } | undefined {
  return scene === 'photo' && photo !== undefined ? { width: photo.width, height: photo.height } : undefined;
}

function makeScene({ scene, seed, photo }: RenderOptions, size: SceneSize): Scene {
  switch (scene) {
    case 'leaves':
      return leaves(size, seed);
    case 'seed-head':
      return seedHead(size, seed);
    case 'insect-head':
      return insectHead(size, seed);
    case 'tilted-plane':
      return tiltedPlane(size, seed);
    case 'photo':
      if (photo === undefined)
        throw new UsageError('Expected a photograph and its depths for the scene photo but received none');
      return photoScene(size, photo);
  }
}

function checkOptions(options: RenderOptions): void {
  const expect = (good: boolean, range: string, name: keyof RenderOptions): void => {
    if (!good) throw new UsageError(`Expected ${range} for ${name} but received ${String(options[name])}`);
  };
  expect(
    Object.hasOwn(sceneDefaults, options.scene),
    `one of ${Object.keys(sceneDefaults).join(', ')}`,
    'scene',
  );
  for (const name of ['width', 'height'] as const) {
    expect(Number.isInteger(options[name]) && options[name] >= 16, 'a whole number of pixels from 16', name);
  }
  expect(Number.isInteger(options.frames) && options.frames >= 1, 'a whole number from 1', 'frames');
  expect(Number.isInteger(options.seed), 'a whole number', 'seed');
  for (const name of ['focalLengthMm', 'fNumber', 'magnification', 'pixelPitchUm', 'stepPart'] as const) {
    expect(options[name] > 0 && Number.isFinite(options[name]), 'a number above 0', name);
  }
  for (const name of [
    'lensBlurPx',
    'shiftPx',
    'rollDeg',
    'blurredFrames',
    'smearPx',
    'noise',
    'dust',
    'hotPixels',
  ] as const) {
    expect(options[name] >= 0 && Number.isFinite(options[name]), 'a number from 0', name);
  }
  for (const name of ['flickerPercent', 'irregularPercent'] as const) {
    expect(options[name] >= 0 && options[name] < 100, 'a number from 0 to below 100', name);
  }
  expect(options.bits === 8 || options.format !== 'jpg', '8 with format jpg', 'bits');
}

async function writeRgb16(
  path: string,
  pixels: Uint8Array | Uint16Array,
  width: number,
  height: number,
): Promise<void> {
  await sharp(pixels, { raw: { width, height, channels: 3 } })
    .toColourspace('rgb16')
    .png({ compressionLevel: 3 })
    .toFile(path);
}

import { execFile } from 'node:child_process';
import { mkdir, readFile, rm, writeFile } from 'node:fs/promises';
import { cpus } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import sharp from 'sharp';
import {
  blurDiameterPx,
  depthOfFieldMm,
  focusDistanceMm,
  frameToAnchor,
  jitterMatrix,
  type Optics,
  type Pose,
  scaleToAnchor,
} from '../../../samples/camera.js';
import { createSensor, encodePicture, exposeSensor, type SensorOptions } from '../../../samples/sensor.js';
import { anchorNumber, planShots, type ShootOptions, type Shot } from '../../../samples/shoot.js';
import { writeFrame } from '../../../samples/write-frame.js';
import {
  composeMatrices,
  invertMatrix,
  type Matrix3,
  similarityMatrix,
} from '../../../src/image/transform.js';
import { crystals } from './crystals.js';
import { insect } from './insect.js';
import { measureLensCentre } from './lens-centre.js';
import type { RaytracedScene } from './scene-text.js';
import { solids } from './solids.js';

const run = promisify(execFile);

export type RaytracedSubject = 'insect' | 'crystals' | 'solids';

/** A stack that POV-Ray takes through a thin lens with exact occlusion. */
export interface RaytracedOptions extends Optics, ShootOptions, SensorOptions {
  subject: RaytracedSubject;
  seed: number;
  width: number;
  height: number;
  frames: number;
  /** Hairs of the insect, prisms of the crystals. */
  things: number;
  stepPart: number;
  /** Rays a pixel through the lens, over four sub-pixels. */
  rays: number;
}

export const raytracedDefaults = {
  seed: 1,
  width: 720,
  height: 540,
  frames: 26,
  things: 150,
  focalLengthMm: 50,
  fNumber: 5.6,
  magnification: 2.5,
  pixelPitchUm: 4,
  stepPart: 0.7,
  shiftPx: 2,
  rollDeg: 0.08,
  flickerPercent: 1.5,
  irregularPercent: 5,
  blurredFrames: 0,
  smearPx: 0,
  order: 'near-to-far',
  bits: 8,
  noise: 1.6,
  dust: 0,
  hotPixels: 0,
  rays: 96,
} as const;

/** Circle of confusion for the depth of field, px: as of the rendered scenes. */
const circlePx = 2;
/** Sub-pixels a side: of the frames, and of the truth. */
const frameGrid = 2;
const truthGrid = 4;
/** Odd, so that the middle of its depths belongs to what covers at least half of the pixel. */
const depthGrid = 3;
/** Depths from the nearest to the farthest that are told apart, mm from the anchor's plane of focus. */
const depthRangeMm = [-1.5, 2.5] as const;

/** Whether POV-Ray is installed. */
export async function hasPovray(): Promise<boolean> {
  return run('povray', ['--version']).then(
    () => true,
    () => false,
  );
}

/** Renders frames and truth into `out` as `samples/render-scene.ts` does, with `truth/thin.png` besides: 255 = thin thing. */
export async function renderRaytraced(
  given: Partial<RaytracedOptions> & Pick<RaytracedOptions, 'subject'>,
  out: string,
  onProgress: (done: number, frames: number) => void = () => {},
): Promise<void> {
  const options: RaytracedOptions = { ...raytracedDefaults, ...given };
  const { width, height, seed } = options;
  const scene = sceneOf(options);
  const work = join(out, 'work');
  await mkdir(join(out, 'frames'), { recursive: true });
  await mkdir(work, { recursive: true });
  const shots = shotsOf(options);
  const sensor = createSensor(width, height, options, seed);
  for (const [k, { pose, gains }] of shots.entries()) {
    const text = povText(scene, options, pose, { rays: raysOf(options) });
    const linear = await shoot(work, `frame-${k + 1}`, text, width, height, frameGrid);
    for (let i = 0; i < linear.length; i++) linear[i] *= gains[i % 3];
    exposeSensor(linear, sensor, k + 1);
    await writeFrame(join(out, 'frames'), k + 1, encodePicture(linear, options.bits), {
      ...options,
      format: 'jpg',
      quality: 95,
    });
    onProgress(k + 1, shots.length);
  }
  await writeTruth(options, out, work);
  await rm(work, { recursive: true });
}

function stepMmOf(options: RaytracedOptions): number {
  return options.stepPart * depthOfFieldMm(options, circlePx);
}

function shotsOf(options: RaytracedOptions): Shot[] {
  return planShots(options.frames, stepMmOf(options), options, options.seed);
}

/** Writes what the frames would show through a pinhole at the centre of their lens, and where each of them lies. */
export async function writeTruth(options: RaytracedOptions, out: string, work: string): Promise<void> {
  const { width, height, frames, seed } = options;
  const stepMm = stepMmOf(options);
  const shots = shotsOf(options);
  const anchor = anchorNumber(frames);
  const scene = sceneOf(options);
  await mkdir(join(out, 'truth'), { recursive: true });
  const { pose } = shots[anchor - 1];
  const centreMm = await lensCentre(options, work);
  const seen = povText(scene, options, pose, { centreMm });
  const truth = await shoot(work, 'truth', seen, width, height, truthGrid);
  await sharp(encodePicture(truth, 16), { raw: { width, height, channels: 3 } })
    .toColourspace('rgb16')
    .png({ compressionLevel: 3 })
    .toFile(join(out, 'truth', 'composite.png'));
  const depth = await depthMap(work, scene, options, pose, centreMm);
  const bare = await depthMap(
    work,
    { ...scene, things: scene.things.filter(({ thin }) => !thin) },
    options,
    pose,
    centreMm,
  );
  const thin = Uint8Array.from(depth, (mm, i) => (bare[i] - mm > 0.002 ? 255 : 0));
  await sharp(thin, { raw: { width, height, channels: 1 } })
    .toColourspace('b-w')
    .png()
    .toFile(join(out, 'truth', 'thin.png'));
  await writeFile(
    join(out, 'truth', 'depth.f32'),
    new Uint8Array(Float32Array.from(depth, (mm) => mm / stepMm).buffer),
  );
  const record = {
    schema: 'lamella-sample/1',
    scene: options.subject,
    seed,
    width,
    height,
    frames,
    anchor,
    stepMm,
    blurPxPerStep: blurDiameterPx(options, stepMm) / 2,
    positionsMm: shots.map((shot) => shot.pose.positionMm),
    lensCentreMm: centreMm,
    transforms: shots.map((shot) => transformOf(options, shot.pose, pose, centreMm)),
    gains: shots.map((shot) => shot.gains),
  };
  await writeFile(join(out, 'truth', 'scene.json'), `${JSON.stringify(record, null, 1)}\n`);
}

/** Where the centre of the lens lies, mm from the axis; see `measureLensCentre`. */
export async function lensCentre(options: RaytracedOptions, work: string): Promise<[number, number]> {
  const side = 48;
  const small = { ...options, width: side, height: side };
  const still: Pose = { positionMm: 0, shiftXPx: 0, shiftYPx: 0, rollRad: 0 };
  return measureLensCentre(options, side * pixelMm(options), (scene) =>
    shoot(work, 'lens', povText(scene, small, still, { rays: raysOf(options) }), side, side, frameGrid),
  );
}

/** Rays of a sub-pixel. */
function raysOf({ rays }: RaytracedOptions): number {
  return Math.ceil(rays / frameGrid ** 2);
}

/** Frame pixel to anchor pixel for what is in focus in the frame, as seen from the lens's centre. */
export function transformOf(
  options: RaytracedOptions,
  pose: Pose,
  anchor: Pose,
  centreMm: readonly [number, number],
): Matrix3 {
  const { width, height } = options;
  // A lens on the axis leaves the middle of the field in place; one at e sees what lies there before its own position.
  const share = 1 - scaleToAnchor(options, pose.positionMm, pose.positionMm);
  const shiftXPx = (share * centreMm[0]) / pixelMm(options);
  const shiftYPx = (-share * centreMm[1]) / pixelMm(options);
  const parallax = similarityMatrix({ scale: 1, rollRad: 0, shiftXPx, shiftYPx }, width, height);
  const jitter = jitterMatrix(anchor, width, height);
  const withoutJitter = composeMatrices(
    invertMatrix(jitter),
    frameToAnchor(options, pose, anchor, width, height),
  );
  return composeMatrices(jitter, composeMatrices(parallax, withoutJitter));
}

/** Width of a pixel in the anchor's plane of focus, mm. */
function pixelMm({ pixelPitchUm, magnification }: Optics): number {
  return pixelPitchUm / 1000 / magnification;
}

export function sceneOf(options: RaytracedOptions): RaytracedScene {
  switch (options.subject) {
    case 'insect':
      return insect(options.seed, pixelMm(options), options.things);
    case 'crystals':
      return crystals(options.seed, pixelMm(options), options.things);
    case 'solids':
      return solids(options.seed);
  }
}

/** Truth through a pinhole; its depth as brightness; or a frame by so many rays through the lens. */
interface View {
  rays?: number;
  depth?: boolean;
  /** The pinhole's distance from the axis, x right and y up; 0 when left out. */
  centreMm?: readonly [number, number];
}

/**
 * The scene as POV-Ray reads it. The lens is where the camera is; its `aperture` is twice the lens's diameter (measured
 * on a small bright ball against the thin-lens formula: see the test). Shift and roll are those of the sensor.
 */
export function povText(scene: RaytracedScene, options: RaytracedOptions, pose: Pose, view: View): string {
  const distance = focusDistanceMm(options);
  const widthMm = options.width * pixelMm(options);
  const heightMm = options.height * pixelMm(options);
  const [cos, sin] = [Math.cos(pose.rollRad), Math.sin(pose.rollRad)];
  // A picture that is turned and shifted on the sensor is seen along axes that are turned and shifted back.
  const right: [number, number] = [cos * widthMm, sin * widthMm];
  const up: [number, number] = [-sin * heightMm, cos * heightMm];
  const x = -pose.shiftXPx / options.width;
  const y = pose.shiftYPx / options.height;
  const [centreX, centreY] = view.centreMm ?? [0, 0];
  const ahead = [right[0] * x + up[0] * y - centreX, right[1] * x + up[1] * y - centreY];
  const lens =
    view.rays === undefined
      ? ''
      : `aperture ${(2 * options.focalLengthMm) / options.fNumber} focal_point<0,0,${pose.positionMm}> blur_samples ${view.rays} variance 0`;
  const camera = `camera{perspective location<${centreX},${centreY},${pose.positionMm - distance}> direction<${ahead[0]},${ahead[1]},${distance}> right<${right[0]},${right[1]},0> up<${up[0]},${up[1]},0> ${lens}}`;
  const [near, far] = depthRangeMm;
  const things = scene.things
    .map(({ geometry, texture }) => `object{${geometry} ${view.depth ? '' : texture}}`)
    .join('\n');
  const world = view.depth
    ? `union{${things} pigment{gradient z color_map{[0 rgb 0][1 rgb 1]} scale ${far - near} translate ${near}*z} finish{ambient 1 diffuse 0}}`
    : `${scene.lights}\n${things}`;
  return `#version 3.7;global_settings{assumed_gamma 1 max_trace_level 4}\n${camera}\n${world}\n`;
}

/** Renders at `grid` times the size and averages in linear light: (height, width, 3). */
export async function shoot(
  work: string,
  name: string,
  text: string,
  width: number,
  height: number,
  grid: number,
): Promise<Float32Array> {
  const samples = await trace(work, name, text, width * grid, height * grid);
  const linear = new Float32Array(width * height * 3);
  const unit = 1 / (65535 * grid * grid);
  for (let y = 0; y < height * grid; y++) {
    for (let x = 0; x < width * grid; x++) {
      const from = 3 * (y * width * grid + x);
      const to = 3 * (Math.floor(y / grid) * width + Math.floor(x / grid));
      for (let channel = 0; channel < 3; channel++) linear[to + channel] += unit * samples[from + channel];
    }
  }
  return linear;
}

/** Depth of what covers at least half of each pixel, mm from the anchor's plane of focus. */
async function depthMap(
  work: string,
  scene: RaytracedScene,
  options: RaytracedOptions,
  pose: Pose,
  centreMm: readonly [number, number],
): Promise<Float32Array> {
  const { width, height } = options;
  const samples = await trace(
    work,
    'depth',
    povText(scene, options, pose, { depth: true, centreMm }),
    width * depthGrid,
    height * depthGrid,
  );
  const [near, far] = depthRangeMm;
  const cell = new Uint16Array(depthGrid ** 2);
  return Float32Array.from({ length: width * height }, (_, pixel) => {
    const [px, py] = [pixel % width, Math.floor(pixel / width)];
    for (let j = 0; j < cell.length; j++) {
      const y = py * depthGrid + Math.floor(j / depthGrid);
      const x = px * depthGrid + (j % depthGrid);
      cell[j] = samples[3 * (y * width * depthGrid + x)];
    }
    cell.sort();
    return near + (cell[cell.length >> 1] / 65535) * (far - near);
  });
}

/** Linear samples, 16 bits, (height, width, 3). */
async function trace(
  work: string,
  name: string,
  text: string,
  width: number,
  height: number,
): Promise<Uint16Array> {
  const source = join(work, `${name}.pov`);
  const picture = join(work, `${name}.png`);
  await writeFile(source, text);
  const flags = [
    `+I${source}`,
    `+O${picture}`,
    `+W${width}`,
    `+H${height}`,
    '+FN16',
    'File_Gamma=1.0',
    `+WT${cpus().length}`,
    '-D',
    '-A',
    '-GA',
  ];
  try {
    await run('povray', flags, { maxBuffer: 2 ** 24 });
  } catch (error) {
    throw new Error(`POV-Ray cannot render ${source}: ${String(error).slice(-2000)}`, { cause: error });
  }
  const data = await sharp(await readFile(picture), { ignoreIcc: true })
    .removeAlpha()
    .toColourspace('rgb16')
    .raw({ depth: 'ushort' })
    .toBuffer();
  return new Uint16Array(data.buffer, data.byteOffset, data.byteLength / 2);
}

import { execFile } from 'node:child_process';
import { mkdir, readdir, readFile, rm, writeFile } from 'node:fs/promises';
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
} from '../../../samples/camera.js';
import { createSensor, encodePicture, exposeSensor, type SensorOptions } from '../../../samples/sensor.js';
import { anchorNumber, planShots, type ShootOptions, type Shot } from '../../../samples/shoot.js';
import { writeFrame } from '../../../samples/write-frame.js';
import { composeMatrices, invertMatrix, type Matrix3 } from '../../../src/image/transform.js';
import { crystals } from './crystals.js';
import { insect } from './insect.js';
import { type LensRay, lensRays } from './lens-rays.js';
import type { RaytracedScene } from './scene-text.js';
import { solids } from './solids.js';

const run = promisify(execFile);

export type RaytracedSubject = 'insect' | 'crystals' | 'solids';

/** A stack that POV-Ray takes through the pinholes that a thin lens is made of, with exact occlusion. */
export interface RaytracedOptions extends Optics, ShootOptions, SensorOptions {
  subject: RaytracedSubject;
  seed: number;
  width: number;
  height: number;
  frames: number;
  /** Hairs of the insect, prisms of the crystals. */
  things: number;
  stepPart: number;
  /** Rays a pixel, each through another point of the lens and of the pixel: see `lensRays`. */
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
  rays: 128,
} as const;

/** Circle of confusion for the depth of field, px: as of the rendered scenes. */
const circlePx = 2;
/** Sub-pixels a side of the truth. */
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
  const rays = lensRays(options);
  for (const [k, { pose, gains }] of shots.entries()) {
    const linear = await exposeLens(work, `frame-${k + 1}`, scene, options, pose, rays);
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

/** Writes what the frames would show through a pinhole in the middle of their lens, and where each of them lies. */
export async function writeTruth(options: RaytracedOptions, out: string, work: string): Promise<void> {
  const { width, height, frames, seed } = options;
  const stepMm = stepMmOf(options);
  const shots = shotsOf(options);
  const anchor = anchorNumber(frames);
  const scene = sceneOf(options);
  await mkdir(join(out, 'truth'), { recursive: true });
  const { pose } = shots[anchor - 1];
  const seen = povText(scene, options, pose);
  const truth = await shoot(work, 'truth', seen, width, height, truthGrid);
  await sharp(encodePicture(truth, 16), { raw: { width, height, channels: 3 } })
    .toColourspace('rgb16')
    .png({ compressionLevel: 3 })
    .toFile(join(out, 'truth', 'composite.png'));
  const depth = await depthMap(work, scene, options, pose);
  const bare = await depthMap(
    work,
    { ...scene, things: scene.things.filter(({ thin }) => !thin) },
    options,
    pose,
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
    transforms: shots.map((shot) => transformOf(options, shot.pose, pose)),
    gains: shots.map((shot) => shot.gains),
  };
  await writeFile(join(out, 'truth', 'scene.json'), `${JSON.stringify(record, null, 1)}\n`);
}

/** Frame pixel to anchor pixel for what is in focus in the frame, as seen from the middle of the lens. */
export function transformOf(options: RaytracedOptions, pose: Pose, anchor: Pose): Matrix3 {
  const { width, height } = options;
  const jitter = jitterMatrix(anchor, width, height);
  const withoutJitter = composeMatrices(
    invertMatrix(jitter),
    frameToAnchor(options, pose, anchor, width, height),
  );
  return composeMatrices(jitter, withoutJitter);
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

/** Things and light as POV-Ray reads them, before the camera at a pose, through a pinhole in the middle of the lens. */
export function povText(scene: RaytracedScene, options: RaytracedOptions, pose: Pose): string {
  return sceneText(cameraText(options, pose, [0, 0], [0, 0]), `${scene.lights}\n${thingsText(scene)}`);
}

/** The same with its depth as brightness. */
function depthText(scene: RaytracedScene, options: RaytracedOptions, pose: Pose): string {
  const [near, far] = depthRangeMm;
  const bare = scene.things.map(({ geometry }) => `object{${geometry}}`).join('\n');
  return sceneText(
    cameraText(options, pose, [0, 0], [0, 0]),
    `union{${bare} pigment{gradient z color_map{[0 rgb 0][1 rgb 1]} scale ${far - near} translate ${near}*z} finish{ambient 1 diffuse 0}}`,
  );
}

function sceneText(camera: string, world: string): string {
  return `#version 3.7;global_settings{assumed_gamma 1 max_trace_level 4}\n${camera}\n${world}\n`;
}

function thingsText({ things }: RaytracedScene): string {
  return things.map(({ geometry, texture }) => `object{${geometry} ${texture}}`).join('\n');
}

/**
 * A pinhole at `lensMm` from the middle of the lens, right and up, whose picture of the plane of focus is that of every other
 * pinhole of the lens, moved by `pixel` pixels right and down. Shift and roll are those of the sensor.
 */
function cameraText(
  options: RaytracedOptions,
  pose: Pose,
  [lensX, lensY]: readonly [number, number],
  [pixelX, pixelY]: readonly [number, number],
): string {
  const distance = focusDistanceMm(options);
  const widthMm = options.width * pixelMm(options);
  const heightMm = options.height * pixelMm(options);
  const [cos, sin] = [Math.cos(pose.rollRad), Math.sin(pose.rollRad)];
  // A picture that is turned and shifted on the sensor is seen along axes that are turned and shifted back.
  const right: [number, number] = [cos * widthMm, sin * widthMm];
  const up: [number, number] = [-sin * heightMm, cos * heightMm];
  const x = -(pose.shiftXPx + pixelX) / options.width;
  const y = (pose.shiftYPx + pixelY) / options.height;
  const ahead = [right[0] * x + up[0] * y - lensX, right[1] * x + up[1] * y - lensY];
  return `camera{perspective location<${lensX},${lensY},${pose.positionMm - distance}> direction<${ahead[0]},${ahead[1]},${distance}> right<${right[0]},${right[1]},0> up<${up[0]},${up[1]},0>}`;
}

/** Linear light of a frame, (height, width, 3): the mean over the rays of the lens, each a picture of its own. */
export async function exposeLens(
  work: string,
  name: string,
  scene: RaytracedScene,
  options: RaytracedOptions,
  pose: Pose,
  rays: readonly LensRay[],
): Promise<Float32Array> {
  const { width, height } = options;
  const cameras = rays.map(
    ({ lensMm, pixel }, i) => `#case(${i + 1})${cameraText(options, pose, lensMm, pixel)}#break\n`,
  );
  const text = sceneText(
    `#switch(frame_number)\n${cameras.join('')}#end`,
    `${scene.lights}\n${thingsText(scene)}`,
  );
  const linear = new Float32Array(width * height * 3);
  for await (const samples of trace(work, name, text, width, height, rays.length)) {
    for (let i = 0; i < linear.length; i++) linear[i] += samples[i];
  }
  const unit = 1 / (65535 * rays.length);
  return linear.map((sum) => sum * unit);
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
  const samples = await traceOne(work, name, text, width * grid, height * grid);
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
): Promise<Float32Array> {
  const { width, height } = options;
  const text = depthText(scene, options, pose);
  const samples = await traceOne(work, 'depth', text, width * depthGrid, height * depthGrid);
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

/** Linear samples of one picture, 16 bits, (height, width, 3). */
async function traceOne(
  work: string,
  name: string,
  text: string,
  width: number,
  height: number,
): Promise<Uint16Array> {
  for await (const samples of trace(work, name, text, width, height, 1)) return samples;
  throw new Error(`POV-Ray made no picture of ${name}`);
}

/** Linear samples of pictures 1 to `count` of a text that goes by `frame_number`, one after the other; 16 bits, (height, width, 3). */
async function* trace(
  work: string,
  name: string,
  text: string,
  width: number,
  height: number,
  count: number,
): AsyncGenerator<Uint16Array> {
  const folder = join(work, name);
  await mkdir(folder);
  const source = join(folder, 'scene.pov');
  await writeFile(source, text);
  // POV-Ray sleeps between pictures.
  const parts = Math.min(count, 6 * cpus().length);
  const render = async (part: number) => {
    const first = Math.floor((part * count) / parts) + 1;
    const last = Math.floor(((part + 1) * count) / parts);
    const flags = [
      `+I${source}`,
      `+O${join(folder, `part-${part}-`)}`,
      `+W${width}`,
      `+H${height}`,
      '+FP16',
      'File_Gamma=1.0',
      `+KFI${first}`,
      `+KFF${last}`,
      `+WT${parts === 1 ? cpus().length : 1}`,
      '-D',
      '-A',
      '-GA',
    ];
    await run('povray', flags, { maxBuffer: 2 ** 24 });
  };
  try {
    const ends = await Promise.allSettled(Array.from({ length: parts }, (_, part) => render(part)));
    const failed = ends.find((end) => end.status === 'rejected');
    if (failed) {
      const words = String(failed.reason).slice(-2000);
      throw new Error(`POV-Ray cannot render ${source}: ${words}`, { cause: failed.reason });
    }
    const pictures = (await readdir(folder)).filter((file) => file.endsWith('.ppm'));
    if (pictures.length !== count) {
      throw new Error(`Expected ${count} pictures of ${source} but found ${pictures.length}`);
    }
    for (const picture of pictures)
      yield readPortable(await readFile(join(folder, picture)), width * height * 3);
  } finally {
    await rm(folder, { recursive: true });
  }
}

/** Samples of a portable pixel map of 16 bits: the end of the file, the higher byte first (Netpbm, ppm(5)). */
function readPortable(file: Buffer, count: number): Uint16Array {
  const pixels = file.subarray(file.length - 2 * count).swap16();
  // A copy, for the bytes may begin at an odd address.
  return new Uint16Array(Uint8Array.from(pixels).buffer);
}

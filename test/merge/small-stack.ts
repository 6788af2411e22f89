import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { type RenderOptions, renderScene, type SceneRecord } from '../../samples/render-scene.js';
import { makeFolder } from '../stack/pictures.js';

export const frameSize = { width: 240, height: 180 };
const { width, height } = frameSize;

/** Files of a stack by name. */
export type Files = Record<string, Buffer>;

export interface RenderedStack {
  files: Files;
  record: SceneRecord;
  /** Depth in steps from the anchor's plane of focus, (180, 240). */
  depth: Float32Array;
  /** The scene with everything sharp: RGB, 16 bits, (180, 240, 3). */
  sharp: Uint16Array;
}

/** A plane that leans through all planes of focus of seven frames, with shifts, roll and flicker, near to far. */
export async function renderPlane(options: Partial<RenderOptions> = {}): Promise<RenderedStack> {
  const out = makeFolder();
  const record = await renderScene({ scene: 'tilted-plane', out, ...frameSize, frames: 7, ...options });
  const depth = readFileSync(join(out, 'truth', 'depth.f32'));
  return {
    files: readFiles(join(out, 'frames')),
    record,
    depth: new Float32Array(Uint8Array.from(depth).buffer),
    sharp: await readRgb16(readFileSync(join(out, 'truth', 'composite.png'))),
  };
}

export function readFiles(folder: string): Files {
  const names = readdirSync(folder).sort();
  return Object.fromEntries(names.map((name) => [name, readFileSync(join(folder, name))]));
}

/** A folder of its own that holds nothing but `frames`, and the place of the result beside it. */
export function placeStack(files: Record<string, Buffer | string>): {
  parent: string;
  frames: string;
  out: string;
} {
  const parent = makeFolder();
  const frames = join(parent, 'frames');
  mkdirSync(frames);
  for (const [name, content] of Object.entries(files)) writeFileSync(join(frames, name), content);
  return { parent, frames, out: join(parent, 'merged') };
}

/** Every file through `change`; its name gets the ending `ending`. */
export async function convertFiles(
  files: Files,
  ending: string,
  change: (picture: Sharp) => Sharp,
): Promise<Files> {
  const changed = Object.entries(files).map(
    async ([name, file]): Promise<[string, Buffer]> => [
      name.replace(/[^.]+$/, ending),
      await change(sharp(file)).toBuffer(),
    ],
  );
  return Object.fromEntries(await Promise.all(changed));
}

/** A picture file as 16-bit RGB, (rows, cols, 3). */
export async function readRgb16(file: Buffer | string): Promise<Uint16Array> {
  const picture = sharp(file, { ignoreIcc: true }).toColourspace('rgb16').raw({ depth: 'ushort' });
  return new Uint16Array(Uint8Array.from(await picture.toBuffer()).buffer);
}

/** 16-bit RGB, (180, 240, 3), as a PNG file. */
export function pngOf(pixels: Uint16Array): Promise<Buffer> {
  return sharp(pixels, { raw: { ...frameSize, channels: 3 } })
    .toColourspace('rgb16')
    .png()
    .toBuffer();
}

/** Indices, row by row, of the pixels at least `marginPx` from the edges. */
export function innerPixels(marginPx: number): number[] {
  return Array.from({ length: width * height }, (_, i) => i).filter((i) => {
    const x = i % width;
    const y = Math.floor(i / width);
    return x >= marginPx && y >= marginPx && x < width - marginPx && y < height - marginPx;
  });
}

export function median(values: number[]): number {
  return values.sort((a, b) => a - b)[values.length >> 1];
}

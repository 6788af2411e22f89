import { mkdir, readdir, rename, rm } from 'node:fs/promises';
import { extname, join } from 'node:path';
import sharp from 'sharp';
import { named, OutputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { validateOptions, withDefaults } from '../options/validate-options.js';
import { asOutputError, outputElsewhere, systemCode } from '../result/output-failure.js';
import { memoryTarget, writeFileAside } from '../result/output-file.js';
import { type OutputTarget, refuseUnfitPlace, refuseUnfitTarget } from '../result/output-target.js';
import { appendPng, type PngPicture, writePng } from '../result/png-file.js';
import { readRunRecord } from '../result/read-run-record.js';
import type { RunRecord } from '../result/run-record.js';
import { unfinishedPath } from '../result/unfinished.js';
import { besideResult } from './beside-result.js';
import { storedColours } from './composite-colours.js';
import { type LoopKind, type LoopOptions, loopOptionTable } from './loop-options.js';
import { parallaxAt } from './parallax.js';
import { sideViews } from './side-views.js';
import { travelViews } from './travel-views.js';

/** What a moving picture came out as. */
export interface LoopReport {
  /** The animation, or the folder of numbered pictures. */
  out: string;
  loop: LoopKind;
  /** Of each picture, px. */
  size: Size;
  /** Pictures of one round, of which those that repeat are counted again. */
  pictures: number;
  /** Rocking: how far the farthest moves against the nearest from one end to the other, px; travel: 0. */
  maxParallaxPx: number;
  notes: string[];
}

const loopMark = 'Lamella loop';
/** Pictures of one round of rocking: sixteen a second take two seconds. */
const rockingPictures = 32;
const pictureMs = { rocking: 62, travel: 90 } as const;
/** Largest picture: an animation is looked at on a screen. */
const maxPixels = 1e6;
const webpQuality = 82;

/**
 * Makes a moving picture of a result: a .webp animation, or numbered .png files in a folder that is not there yet.
 *
 * @throws As `makeStereo`; InputError for a travel whose photographs are missing.
 */
export async function makeLoop(
  folder: string,
  given: Partial<LoopOptions> = {},
  signal?: AbortSignal,
): Promise<LoopReport> {
  const options = withDefaults(loopOptionTable, validateOptions(loopOptionTable, given));
  const { loop, out = besideResult(folder, `-${options.loop}.webp`), overwrite, ...viewOptions } = options;
  const record = await readRunRecord(folder);
  const isAnimation = extname(out).toLowerCase() === '.webp';
  const inputs = [folder, record.folder, options.framesFrom];
  const target: OutputTarget = {
    path: out,
    option: 'out',
    noun: 'moving picture',
    inputs,
    overwrite,
    // An animation names its program at its end, as its format has it.
    marked: 'last',
    isOurs: (tail) => tail.includes(loopMark),
  };
  const check = () => (isAnimation ? refuseUnfitTarget(target) : refuseUnfitFolder(out, inputs));
  await check();
  const round =
    loop === 'rocking'
      ? await rock(folder, record, viewOptions, signal)
      : await travel(folder, record, viewOptions.framesFrom, signal);
  if (isAnimation) {
    const bytes = await encodeAnimation(round, pictureMs[loop]);
    await writeFileAside(out, (file) => file.append(bytes), { option: 'out', check, signal });
  } else {
    await writeNumbered(out, round, check, signal);
  }
  const { width, height, order, maxParallaxPx, notes } = round;
  return { out, loop, size: { width, height }, pictures: order.length, maxParallaxPx, notes };
}

/** Pictures, and the order in which one round shows them. */
interface Round extends Size {
  pictures: Uint8Array[];
  order: number[];
  icc: Buffer | undefined;
  maxParallaxPx: number;
  notes: string[];
}

async function rock(
  folder: string,
  record: RunRecord,
  options: Parameters<typeof sideViews>[4],
  signal: AbortSignal | undefined,
): Promise<Round> {
  // As a pendulum goes: from one end to the other in half the pictures.
  const half = rockingPictures / 2;
  const sides = Array.from({ length: half + 1 }, (_, i) => -Math.cos((Math.PI * i) / half) / 2);
  const { views, width, height, icc, parallax, notes } = await sideViews(
    folder,
    record,
    sides,
    maxPixels,
    options,
    signal,
  );
  const maxParallaxPx = parallaxAt(parallax, parallax.far);
  return { width, height, pictures: views, order: thereAndBack(views.length), icc, maxParallaxPx, notes };
}

async function travel(
  folder: string,
  record: RunRecord,
  framesFrom: string | undefined,
  signal: AbortSignal | undefined,
): Promise<Round> {
  const { width, height } = record.size;
  const shrink = Math.min(1, Math.sqrt(maxPixels / (width * height)));
  const size = { width: Math.round(width * shrink), height: Math.round(height * shrink) };
  const pictures = await travelViews(record, framesFrom, size, signal);
  const { icc } = await storedColours(folder, record, { width: 1, height: 1 });
  return { ...size, pictures, order: thereAndBack(pictures.length), icc, maxParallaxPx: 0, notes: [] };
}

/** 0 to the last and back, the ends once. */
function thereAndBack(count: number): number[] {
  const there = Array.from({ length: count }, (_, i) => i);
  return [...there, ...there.slice(1, -1).reverse()];
}

/** Browsers expect sRGB of an animation, whatever the profile of the frames. */
async function encodeAnimation(round: Round, delayMs: number): Promise<Buffer> {
  const { pictures, order, width, height, icc } = round;
  const inSrgb: Uint8Array[] = [];
  for (const pixels of pictures) inSrgb.push(icc ? await toSrgb(pixels, round, icc) : pixels);
  const length = 3 * width * height;
  const strip = new Uint8Array(length * order.length);
  for (const [i, index] of order.entries()) strip.set(inSrgb[index], i * length);
  const raw = { width, height: height * order.length, channels: 3, pageHeight: height } as const;
  return sharp(strip, { raw, limitInputPixels: false })
    .webp({ quality: webpQuality, loop: 0, delay: order.map(() => delayMs) })
    .withExif({ IFD0: { Software: loopMark } })
    .toBuffer();
}

async function toSrgb(pixels: Uint8Array, size: Size, icc: Buffer): Promise<Uint8Array> {
  const png = memoryTarget();
  await appendPng(png, { ...rowsOf(pixels, size), icc });
  const converted = await sharp(png.bytes()).toColourspace('srgb').raw().toBuffer();
  return new Uint8Array(converted);
}

function rowsOf(pixels: Uint8Array, { width, height }: Size): PngPicture {
  const row = (y: number) => pixels.subarray(3 * y * width, 3 * (y + 1) * width);
  return { width, height, channels: 3, bits: 8, row };
}

/** Writes 0001.png and so on into a folder aside, which then gets its name. */
async function writeNumbered(
  out: string,
  round: Round,
  check: () => Promise<void>,
  signal: AbortSignal | undefined,
): Promise<void> {
  const aside = unfinishedPath(out, 'partial');
  const { pictures, order, icc } = round;
  try {
    await mkdir(aside);
    for (const [i, index] of order.entries()) {
      const path = join(aside, `${String(i + 1).padStart(4, '0')}.png`);
      await writePng(path, { ...rowsOf(pictures[index], round), icc, software: loopMark, signal });
    }
    await check();
    // An empty folder of that name gives way.
    await rename(aside, out);
  } catch (error) {
    await rm(aside, { recursive: true, force: true });
    throw outputElsewhere(asOutputError(error, out), { aside, path: out, option: 'out' });
  }
}

async function refuseUnfitFolder(out: string, inputs: readonly (string | undefined)[]): Promise<void> {
  await refuseUnfitPlace({ path: out, option: 'out', inputs });
  const names = await readdir(out).catch((error: unknown) => systemCode(error));
  if (names === 'ENOENT' || (Array.isArray(names) && names.length === 0)) return;
  throw new OutputError(
    `${out} exists already: give a new folder for the numbered pictures with ${named('out')}, or a name that ends in .webp for an animation.`,
  );
}

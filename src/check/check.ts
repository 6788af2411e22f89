import { InputError, InterruptedError } from '../errors.js';
import type { Size } from '../image/image.js';
import { feedFrames } from '../merge/frame-feed.js';
import { createMotionEstimator } from '../register/motion-estimator.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { averageBoxes } from '../stack/average-boxes.js';
import { type DecodedFrame, decodeFrame, type Shrink } from '../stack/decode.js';
import { type Direction, type DirectionSource, focusDirection } from '../stack/focus-direction.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import { readStack } from '../stack/read-stack.js';
import { type CheckOptions, resolveCheckOptions } from './check-options.js';
import type { CoverageShares } from './coverage-findings.js';
import { encodedLuma } from './detail-grid.js';
import { directionFindings } from './direction-findings.js';
import { byRank, type Finding, type SensorSpot, spoilsMerge } from './finding.js';
import { type FrameFocus, judgeFocus } from './focus-findings.js';
import { fitFocus } from './focus-fit.js';
import { type FrameSigns, frameSigns } from './frame-signs.js';
import { searchHotPixels } from './hot-pixels.js';
import { judgeLight } from './light-findings.js';
import { listingFindings, unreadableFindings } from './listing-findings.js';
import { motionFindings } from './motion-findings.js';
import { opticsFindings } from './optics-findings.js';
import { runsOf } from './runs.js';
import { lookAgain } from './second-look.js';
import { sensorFindings } from './sensor-findings.js';
import { findDust, planeShrink, type SpotPlane, spotLight } from './sensor-spots.js';
import { stackTravel } from './stack-travel.js';

/** What was found of one frame. */
export interface CheckedFrame extends FrameFocus {
  name: string;
  takenMs: number | undefined;
  usable: boolean;
  /** Frame to the middle frame: scale, shift of the centre, full-size pixels, and roll. */
  scale: number;
  shiftXPx: number;
  shiftYPx: number;
  rollDeg: number;
  /** Travel from the frame before, usual steps; null where it is not known. */
  travelSteps: number | null;
  /** How much less sharp than its neighbours along one direction, and all round; ln energy. Null where it is not known. */
  uneven: number | null;
  dip: number | null;
  /** Light over the anchor's. */
  light: number;
  burntPercent: number;
  blockedPercent: number;
}

/** The verdicts on a stack, as data. */
export interface CheckReport {
  folder: string;
  /** No finding spoils the merge. */
  fit: boolean;
  /** The gravest first. */
  findings: Finding[];
  frames: CheckedFrame[];
  size: Size;
  direction: Direction;
  /** What told the direction; absent when nothing did. */
  directionBy?: DirectionSource;
  coverage: CoverageShares;
  /** Half width of the focus curves of the finest detail that was seen, usual steps; null when unknown. */
  focusWidthSteps: number | null;
  wallMs: number;
}

export interface CheckHooks {
  onProgress?: (done: number, frames: number) => void;
  signal?: AbortSignal | undefined;
  /** Called with the small picture of each frame, in capture order. */
  onStrip?: (strip: FrameSigns['strip'], number: number) => void;
}

/** Least pixels of the pictures that detail is measured on, and of those that motion is measured on. */
const detailPixels = 1.2e6;
const motionPixels = 0.3e6;
const leastSidePx = 64;
/** Frames in a row in which dust is looked for, at both ends and in the middle. */
const dustRun = 12;
/** Frames, over the whole stack, that hot pixels are looked for in. */
const hotFrames = 7;

/**
 * Checks the photographs of a folder before they are merged.
 *
 * @throws UsageError, InputError, InterruptedError; see errors.ts. What spoils a merge is no error but a finding.
 */
export async function check(
  folder: string,
  given: Partial<CheckOptions> = {},
  hooks: CheckHooks = {},
): Promise<CheckReport> {
  const started = performance.now();
  const options = resolveCheckOptions(given);
  const stack = await readStack(folder, {
    skip: options.skip,
    ...(options.frames && { frames: options.frames }),
    ...(options.maxMegapixels && { maxPixels: options.maxMegapixels * 1e6 }),
    signal: hooks.signal,
  });
  if (Math.min(stack.size.width, stack.size.height) < leastSidePx) {
    throw new InputError(
      `Expected frames of at least ${leastSidePx} x ${leastSidePx} pixels but those in "${folder}" are ${stack.size.width} x ${stack.size.height}.`,
    );
  }
  const shrink = shrinkFor(stack.size);
  const look = await firstLook(stack, shrink, hooks);
  const { signs, motion, files } = look;
  const { tiles, curves, shakes, blurred, travel } = stackTravel(
    signs.map(({ detail }) => detail),
    motion.frames,
    stack.size,
    shrink,
  );
  const fit = fitFocus(curves, travel.places);
  const again =
    shrink === 1
      ? { hotPixels: look.hotPixels, fineWidth: undefined }
      : await lookAgain(files, motion, fit, tiles, travel.places, hooks.signal);
  const dust = findDust(
    runsOf(files.length, dustRun).map((run) => run.map((k) => spotPlane(look, k, blurred))),
    look.planeSize,
    look.planeFactor,
  );
  const width = Math.min(fit.width, again.fineWidth ?? fit.width);
  const way = focusDirection(options.direction, files, motion.direction);
  const focus = judgeFocus(fit, tiles.columns, travel, motion.frames, way.direction, width, options.stepMm);
  const { light, findings: lightFindings } = judgeLight(motion.frames, signs);
  const findings = byRank([
    ...listingFindings(stack, signs),
    ...unreadableFindings(look.unreadable),
    ...motionFindings(motion.frames, travel, blurred, width, stack.size),
    ...directionFindings(way),
    ...focus.findings,
    ...lightFindings,
    ...sensorFindings(dust, again.hotPixels),
    ...opticsFindings(options, stack.frames[0].exif),
  ]);
  const finite = (value: number | undefined) =>
    value !== undefined && Number.isFinite(value) ? value : null;
  return {
    folder,
    fit: !spoilsMerge(findings),
    findings,
    frames: files.map((file, k): CheckedFrame => {
      const { usable, similarity } = motion.frames[k];
      return {
        ...focus.frames[k],
        name: file.name,
        takenMs: file.exif.takenMs,
        usable,
        scale: similarity.scale,
        shiftXPx: similarity.shiftXPx,
        shiftYPx: similarity.shiftYPx,
        rollDeg: (similarity.rollRad * 180) / Math.PI,
        travelSteps: k === 0 ? null : finite(travel.steps[k - 1]),
        uneven: finite(shakes[k].uneven),
        dip: finite(shakes[k].dip),
        light: light[k],
        burntPercent: signs[k].burntPercent,
        blockedPercent: signs[k].blockedPercent,
      };
    }),
    size: stack.size,
    ...way,
    coverage: focus.coverage,
    focusWidthSteps: finite(width),
    wallMs: Math.round(performance.now() - started),
  };
}

/** The plane of frame k for the search for dust; undefined where it would mislead. */
function spotPlane(
  { planes, motion }: FirstLook,
  k: number,
  blurred: ReadonlySet<number>,
): SpotPlane | undefined {
  const light = planes.get(k);
  const { usable, matrix } = motion.frames[k];
  return light && usable && !blurred.has(k) ? { light, matrix } : undefined;
}

interface FirstLook {
  /** Frames that could be read, and what was seen of each. */
  files: FrameFile[];
  signs: FrameSigns[];
  motion: MotionSolution;
  unreadable: Map<number, string>;
  /** Found where the first look is at full size; else it takes a second. */
  hotPixels: SensorSpot[];
  /** Planes for the search for dust by index, their size, and full-size pixels per pixel. */
  planes: Map<number, Float32Array>;
  planeSize: Size;
  planeFactor: number;
}

/** Reads every frame once, reduced. */
async function firstLook(stack: Stack, shrink: Shrink, hooks: CheckHooks): Promise<FirstLook> {
  const { frames, size } = stack;
  const estimator = createMotionEstimator({ motion: 'scale', fullSize: size });
  const files: FrameFile[] = [];
  const signs: FrameSigns[] = [];
  const unreadable = new Map<number, string>();
  const planes = new Map<number, Float32Array>();
  const wanted = new Set(runsOf(frames.length, dustRun).flat());
  const hot = searchHotPixels();
  const hotPitch = (frames.length - 1) / (Math.min(hotFrames, frames.length) - 1);
  const wantedHot = new Set(frames.map((_, i) => Math.round(i * hotPitch)));
  const reduced = { width: Math.floor(size.width / shrink), height: Math.floor(size.height / shrink) };
  const boxes = planeShrink(reduced);
  const luma = new Float32Array(reduced.width * reduced.height);
  let done = 0;
  for await (const fed of feedFrames(frames, (frame) => decodeFrame(frame, { shrink, quick: true }), 2)) {
    if (hooks.signal?.aborted) throw new InterruptedError();
    const { number } = fed.item;
    if ('error' in fed) {
      if (!(fed.error instanceof InputError)) throw fed.error;
      unreadable.set(number, fed.error.message);
    } else {
      encodedLuma(fed.value, luma);
      const own = frameSigns(number, fed.value, luma);
      if (shrink === 1 && wantedHot.has(files.length)) hot.add(fed.value);
      if (wanted.has(files.length)) planes.set(files.length, spotLight(luma, reduced, boxes));
      files.push(fed.item);
      signs.push(own);
      hooks.onStrip?.(own.strip, number);
      estimator.add({ number, ...forMotion(fed.value) });
    }
    hooks.onProgress?.(++done, frames.length);
  }
  if (files.length < 2) {
    throw new InputError(
      `Only ${files.length} of ${frames.length} frames in "${stack.folder}" can be read: a stack needs at least two. Copy the photographs again from the card.`,
    );
  }
  const motion = estimator.solve(files[(files.length - 1) >> 1].number);
  const planeSize = { width: Math.floor(reduced.width / boxes), height: Math.floor(reduced.height / boxes) };
  const hotPixels = hot.found();
  return { files, signs, motion, unreadable, hotPixels, planes, planeSize, planeFactor: shrink * boxes };
}

/** The picture that motion is measured on: half the size where that leaves enough. */
function forMotion({ pixels, width, height, channels, bits, shrink }: DecodedFrame) {
  const halve = (width * height) / 4 >= motionPixels;
  const factor = halve ? 2 * shrink : shrink;
  return {
    pixels: halve ? averageBoxes(pixels, width, height, channels, 2) : pixels,
    width: halve ? width >> 1 : width,
    height: halve ? height >> 1 : height,
    channels,
    bits,
    factorX: factor,
    factorY: factor,
  };
}

/** The largest reduction that leaves enough pixels to see detail by. */
function shrinkFor({ width, height }: Size): Shrink {
  const shrinks: Shrink[] = [8, 4, 2];
  return shrinks.find((shrink) => (width * height) / shrink ** 2 >= detailPixels) ?? 1;
}

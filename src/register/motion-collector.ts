import { setImmediate } from 'node:timers/promises';
import type { Size } from '../image/image.js';
import { keptFrames, maxLightDistance } from '../model/constants/register.js';
import type { MotionModel } from '../options/motion-model.js';
import { assembleSolution, type MotionEvidence } from './assemble-solution.js';
import { type CentredMotion, composeMotions, invertMotion, noMotion } from './centred-motion.js';
import { correctLink } from './correct-slopes.js';
import { compareLight, type LightGrid } from './frame-light.js';
import { type FrameMeasurement, gridsOf, type MotionLayout } from './frame-meter.js';
import type { MotionSolution } from './motion-solution.js';
import type { PairMeasurement } from './pair-motion.js';
import type { ReducedFrame } from './reduced-frame.js';
import type { PairLink } from './solve-stack.js';

export interface MotionEstimatorOptions {
  motion: MotionModel;
  /** Size of the frames as merged, pixels: all results refer to it. */
  fullSize: Size;
}

/** Whether the motion by two models is solved by the same measurements. */
export function sharesPairs(one: MotionModel, other: MotionModel): boolean {
  const isTurned = (motion: MotionModel) => motion === 'scale' || motion === 'similarity';
  return one === other || (isTurned(one) && isTurned(other));
}

/** A frame's motion from one before it that it could be linked to. */
export interface LinkedPair {
  from: number;
  pair: PairMeasurement;
}

/** A pair that is to be measured: from which frame, and where the iteration starts. */
export interface PairRequest {
  from: number;
  start: CentredMotion | undefined;
}

/**
 * Measures a frame against frames before it, by index, newest first: yields one pair after the other, is given its measurement,
 * and returns those that are reliable.
 *
 * @param motionBetween Motion of a pair of frames that was measured before, where it was reliable.
 */
export function* linkFrame(
  kept: readonly number[],
  motionBetween: (from: number, to: number) => CentredMotion | undefined,
): Generator<PairRequest, LinkedPair[], PairMeasurement> {
  const linked: LinkedPair[] = [];
  /** Through a frame between them that is linked to both. */
  const predict = (from: number) => {
    for (const { from: between, pair } of linked) {
      const before = motionBetween(from, between);
      if (before) return composeMotions(pair.motion, before);
    }
    return undefined;
  };
  for (const [i, from] of kept.slice(0, keptFrames).entries()) {
    // The third is measured only when the stack would otherwise come apart or depend on one pair.
    if (i >= 2 && linked.length >= 1) break;
    const pair = yield { from, start: predict(from) };
    if (pair.reliable) linked.push({ from, pair });
  }
  return linked;
}

/** Collects what is measured of a stack, frame by frame, and solves its motion. */
export class MotionCollector {
  readonly radiusPx: number;
  readonly evidence: MotionEvidence;
  readonly #lights: { index: number; grid: LightGrid }[] = [];

  constructor({ motion, fullSize }: MotionEstimatorOptions) {
    this.radiusPx = Math.hypot(fullSize.width, fullSize.height) / 2;
    this.evidence = {
      motion,
      fullSize,
      radiusPx: this.radiusPx,
      pitchPx: 1,
      frames: [],
      links: [],
      tiles: [],
      grids: [],
      lightLinks: [],
    };
  }

  /** To be called once it is known where frames are measured. */
  begin(layout: MotionLayout): void {
    this.evidence.pitchPx = layout.shape.factor;
    this.evidence.grids = gridsOf(layout);
  }

  /** Takes the measurements of the next frame. */
  take({ record, light }: FrameMeasurement, sameAsPrevious: boolean, linked: readonly LinkedPair[]): void {
    const { frames, links, tiles } = this.evidence;
    const index = frames.push({ ...record, sameAsPrevious }) - 1;
    for (const { from, pair } of linked) {
      const { tiles: matched, ...measured } = pair;
      links.push({ from, to: index, ...measured });
      tiles.push(matched);
    }
    this.#measureGain(index, light, new Map(linked.map(({ from, pair }) => [from, pair.motion])));
  }

  motionBetween(from: number, to: number): CentredMotion | undefined {
    return this.evidence.links.find((link) => link.from === from && link.to === to)?.motion;
  }

  /** Forgets a frame, by its index. */
  remove(index: number): void {
    const { frames, links, tiles, lightLinks } = this.evidence;
    frames.splice(index, 1);
    const isOther = (frame: number) => frame !== index;
    const renumbered = (frame: number) => (frame > index ? frame - 1 : frame);
    const kept = links.flatMap((link, i) => (isOther(link.from) && isOther(link.to) ? [i] : []));
    this.evidence.tiles = kept.map((i) => tiles[i]);
    this.evidence.links = kept.map((i) => {
      const { from, to } = links[i];
      return { ...links[i], from: renumbered(from), to: renumbered(to) };
    });
    this.evidence.lightLinks = lightLinks
      .filter(({ of, to }) => isOther(of) && isOther(to))
      .map((link) => ({ ...link, of: renumbered(link.of), to: renumbered(link.to) }));
    const light = this.#lights.findIndex((frame) => frame.index === index);
    if (light >= 0) this.#lights.splice(light, 1);
    for (const frame of this.#lights) frame.index = renumbered(frame.index);
  }

  solve(anchorNumber: number): MotionSolution {
    const parts = assembleSolution(this.evidence, anchorNumber);
    let part = parts.next();
    while (!part.done) {
      const { context, links, tiles } = part.value;
      part = parts.next(links.map((link, i) => correctLink(context, link, tiles[i])));
    }
    return part.value;
  }

  /**
   * As `solve`, but lets the events of this thread through between pairs.
   *
   * @param motion A model by the same pairs, see `sharesPairs`.
   * @param correct Measures a pair again; by default in this thread.
   */
  async solveInParts(
    anchorNumber: number,
    motion = this.evidence.motion,
    correct?: (...given: Parameters<typeof correctLink>) => Promise<PairLink>,
  ): Promise<MotionSolution> {
    const parts = assembleSolution({ ...this.evidence, motion }, anchorNumber);
    let part = parts.next();
    while (!part.done) {
      const { context, links, tiles } = part.value;
      let corrected: PairLink[] = [];
      if (correct) corrected = await Promise.all(links.map((link, i) => correct(context, link, tiles[i])));
      else {
        for (const [i, link] of links.entries()) {
          corrected.push(correctLink(context, link, tiles[i]));
          await setImmediate();
        }
      }
      part = parts.next(corrected);
    }
    return part.value;
  }

  #measureGain(index: number, grid: LightGrid, toKept: ReadonlyMap<number, CentredMotion>): void {
    const { links, lightLinks, fullSize, motion: model } = this.evidence;
    // Motions from older frames by walking back along the links.
    const fromOlder = new Map<number, CentredMotion>(toKept);
    for (let older = index - 1; older >= index - maxLightDistance; older--) {
      const known = fromOlder.get(older);
      if (!known) continue;
      for (const link of links) {
        if (link.to === older && !fromOlder.has(link.from))
          fromOlder.set(link.from, composeMotions(known, link.motion));
      }
    }
    for (const light of this.#lights) {
      const distance = index - light.index;
      if (distance > 1 && distance % 4 !== 0) continue;
      const motion = model === 'none' ? noMotion : fromOlder.get(light.index);
      if (!motion) continue;
      const ratio = compareLight(grid, light.grid, invertMotion(motion), fullSize);
      if (ratio) lightLinks.push({ of: index, to: light.index, ...ratio });
    }
    this.#lights.unshift({ index, grid });
    if (this.#lights.length > maxLightDistance) this.#lights.pop();
  }
}

/** Throws where a frame is not like those before it, or its samples are not as many as its size says. */
export function checkShape(frame: ReducedFrame, layout: MotionLayout | undefined): void {
  const { width, height, channels, bits, number, pixels } = frame;
  const shape = `${width} x ${height} x ${channels}`;
  if (pixels.length !== width * height * channels) {
    throw new RangeError(`Expected ${shape} samples for frame ${number} but received ${pixels.length}`);
  }
  if (!layout) return;
  const known = layout.shape;
  const expected = `${known.width} x ${known.height} x ${known.channels}`;
  if (shape !== expected || bits !== known.bits) {
    throw new RangeError(`Expected ${expected} for frame ${number} but received ${shape}`);
  }
}

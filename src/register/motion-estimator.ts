import { setImmediate } from 'node:timers/promises';
import type { Size } from '../image/image.js';
import { Arena } from '../kernels/arena.js';
import { type RegisterKernels, registerKernels } from '../kernels/register-kernels.js';
import { keptFrames, maxLightDistance, votingLevels } from '../model/constants/register.js';
import type { MotionModel } from '../options/motion-model.js';
import { assembleSolution, type FrameRecord, type MotionEvidence } from './assemble-solution.js';
import {
  type BandLevel,
  createBandPyramids,
  fillBandPyramid,
  type PyramidScratch,
  takePyramidScratch,
} from './band-pyramid.js';
import { type CentredMotion, composeMotions, invertMotion, noMotion } from './centred-motion.js';
import { frameDetail } from './frame-detail.js';
import { compareLight, type LightGrid, type LightLink, measureLight } from './frame-light.js';
import type { MotionSolution } from './motion-solution.js';
import {
  type LevelGeometry,
  levelGeometries,
  measurePair,
  type TileScratch,
  takeTileScratch,
} from './pair-motion.js';
import {
  fillLightTables,
  type LightTables,
  lightTableBytes,
  type ReducedFrame,
  writeLuminance,
} from './reduced-frame.js';

export interface MotionEstimatorOptions {
  motion: MotionModel;
  /** Size of the frames as merged, pixels: all results refer to it. */
  fullSize: Size;
}

export interface MotionEstimator {
  /** Measures a frame against the frames before it. Frames come in capture order; `pixels` may be reused after. */
  add(frame: ReducedFrame): void;
  /**
   * Forgets a frame, by its index in the order of adding. The frames on both sides of it stay linked to each other as
   * far as they were compared: each is compared with the two before it.
   */
  remove(index: number): void;
  /** Solves all frames added so far, to the frame with this number. */
  solve(anchorNumber: number): MotionSolution;
  /** As `solve`, but lets the events of this thread through, as those of decoding, between parts of the work. */
  solveInParts(anchorNumber: number): Promise<MotionSolution>;
}

interface KeptFrame {
  index: number;
  levels: BandLevel[];
}

/** Memory and geometry of a stack, allocated when the first frame gives the size. */
interface StackContext {
  shape: string;
  arena: Arena;
  kernels: RegisterKernels;
  scratch: PyramidScratch;
  tileScratch: TileScratch;
  tables: LightTables;
  /** Address of the frame's samples. */
  source: number;
  geometry: LevelGeometry[];
  /** Pyramids that no kept frame uses. */
  spare: BandLevel[][];
}

/**
 * Estimates motion and gain of a stack, frame by frame. Holds four band-passed pyramids of the reduced size and
 * a few numbers per frame, so memory does not grow with the stack's pictures.
 */
export function createMotionEstimator(options: MotionEstimatorOptions): MotionEstimator {
  return new StreamingEstimator(options);
}

class StreamingEstimator implements MotionEstimator {
  readonly #motion: MotionModel;
  readonly #fullSize: Size;
  readonly #radiusPx: number;
  readonly #evidence: MotionEvidence;
  #context: StackContext | undefined;
  /** Newest first. */
  readonly #kept: KeptFrame[] = [];
  readonly #lights: { index: number; grid: LightGrid }[] = [];

  constructor({ motion, fullSize }: MotionEstimatorOptions) {
    this.#motion = motion;
    this.#fullSize = fullSize;
    this.#radiusPx = Math.hypot(fullSize.width, fullSize.height) / 2;
    this.#evidence = {
      motion,
      fullSize,
      radiusPx: this.#radiusPx,
      pitchPx: 1,
      frames: [],
      links: [],
      tiles: [],
      grids: [],
      lightLinks: [],
    };
  }

  add(frame: ReducedFrame): void {
    const context = this.#prepare(frame);
    const { arena, kernels, scratch, tables, source, spare } = context;
    const index = this.#evidence.frames.length;
    if (this.#kept.length > keptFrames) spare.push((this.#kept.pop() as KeptFrame).levels);
    const current: KeptFrame = { index, levels: spare.pop() as BandLevel[] };
    const { length } = frame.pixels;
    (frame.bits === 8 ? arena.u8(source, length) : arena.u16(source, length)).set(frame.pixels);
    writeLuminance(source, tables, scratch.luma[0], kernels);
    fillBandPyramid(current.levels, scratch, kernels);
    const previous = this.#kept[0];
    const record: FrameRecord = {
      number: frame.number,
      channels: frame.channels,
      ...frameDetail(current.levels),
      energies: current.levels.slice(0, votingLevels).map(energyAboveNoise),
      sameAsPrevious: previous !== undefined && equalPlanes(previous.levels[0].band, current.levels[0].band),
    };
    this.#evidence.frames.push(record);
    const toKept = this.#measureMotion(current, context);
    this.#measureGain(index, measureLight(frame), toKept);
    this.#kept.unshift(current);
  }

  remove(index: number): void {
    const { frames, links, tiles, lightLinks } = this.#evidence;
    frames.splice(index, 1);
    const isOther = (frame: number) => frame !== index;
    const renumbered = (frame: number) => (frame > index ? frame - 1 : frame);
    const kept = links.flatMap((link, i) => (isOther(link.from) && isOther(link.to) ? [i] : []));
    this.#evidence.tiles = kept.map((i) => tiles[i]);
    this.#evidence.links = kept.map((i) => {
      const { from, to } = links[i];
      return { ...links[i], from: renumbered(from), to: renumbered(to) };
    });
    this.#evidence.lightLinks = lightLinks
      .filter(({ of, to }) => isOther(of) && isOther(to))
      .map((link) => ({ ...link, of: renumbered(link.of), to: renumbered(link.to) }));
    const at = this.#kept.findIndex((frame) => frame.index === index);
    if (at >= 0) this.#context?.spare.push(this.#kept.splice(at, 1)[0].levels);
    for (const frame of this.#kept) frame.index = renumbered(frame.index);
    const light = this.#lights.findIndex((frame) => frame.index === index);
    if (light >= 0) this.#lights.splice(light, 1);
    for (const frame of this.#lights) frame.index = renumbered(frame.index);
  }

  solve(anchorNumber: number): MotionSolution {
    const parts = assembleSolution(this.#evidence, anchorNumber);
    let part = parts.next();
    while (!part.done) part = parts.next();
    return part.value;
  }

  async solveInParts(anchorNumber: number): Promise<MotionSolution> {
    const parts = assembleSolution(this.#evidence, anchorNumber);
    let part = parts.next();
    for (; !part.done; part = parts.next()) await setImmediate();
    return part.value;
  }

  #prepare(frame: ReducedFrame): StackContext {
    const { width, height, channels, bits, number, pixels } = frame;
    const shape = `${width} x ${height} x ${channels}`;
    if (pixels.length !== width * height * channels) {
      throw new RangeError(`Expected ${shape} samples for frame ${number} but received ${pixels.length}`);
    }
    if (this.#context) {
      if (shape !== this.#context.shape || bits !== this.#context.tables.bits) {
        throw new RangeError(`Expected ${this.#context.shape} for frame ${number} but received ${shape}`);
      }
      return this.#context;
    }
    const arena = new Arena();
    const kernels = registerKernels(arena);
    const scratch = takePyramidScratch(arena, width, height);
    const source = arena.take(pixels.length * (bits / 8));
    const tables: LightTables = { pointer: arena.take(lightTableBytes(frame)), bits, channels };
    const tileScratch = takeTileScratch(arena, kernels);
    const spare = createBandPyramids(arena, width, height, keptFrames + 1);
    fillLightTables(arena, tables);
    this.#evidence.pitchPx = Math.sqrt(frame.factorX * frame.factorY);
    const geometry = levelGeometries(spare[0], this.#fullSize, frame.factorX, frame.factorY);
    this.#evidence.grids = spare[0].slice(0, votingLevels).map(({ tile, tilesX, tilesY }, n) => ({
      columns: tilesX,
      rows: tilesY,
      pitchX: tile * geometry[n].pitchX,
      pitchY: tile * geometry[n].pitchY,
    }));
    this.#context = { shape, arena, kernels, scratch, tileScratch, tables, source, geometry, spare };
    return this.#context;
  }

  /** Links the frame to those kept; returns its motion from each that it could be linked to, by index. */
  #measureMotion(current: KeptFrame, { geometry, tileScratch }: StackContext): Map<number, CentredMotion> {
    const toKept = new Map<number, CentredMotion>();
    if (this.#motion === 'none') return toKept;
    const { links } = this.#evidence;
    for (const [i, kept] of this.#kept.slice(0, keptFrames).entries()) {
      // The third is measured only when the stack would otherwise come apart or depend on one pair.
      if (i >= 2 && toKept.size >= 1) break;
      const pair = measurePair(kept.levels, current.levels, geometry, tileScratch, {
        radiusPx: this.#radiusPx,
        shiftOnly: this.#motion === 'shift',
        start: this.#predict(kept.index, toKept),
      });
      if (!pair.reliable) continue;
      const { tiles, ...measured } = pair;
      links.push({ from: kept.index, to: current.index, ...measured });
      this.#evidence.tiles.push(tiles);
      toKept.set(kept.index, pair.motion);
    }
    return toKept;
  }

  /** Motion kept -> current through a frame between them that is linked to both. */
  #predict(kept: number, toKept: Map<number, CentredMotion>): CentredMotion | undefined {
    for (const [between, onward] of toKept) {
      const link = this.#evidence.links.find(({ from, to }) => from === kept && to === between);
      if (link) return composeMotions(onward, link.motion);
    }
    return undefined;
  }

  #measureGain(index: number, grid: LightGrid, toKept: Map<number, CentredMotion>): void {
    const lightLinks: LightLink[] = this.#evidence.lightLinks;
    // Motions from older frames by walking back along the links.
    const fromOlder = new Map<number, CentredMotion>(toKept);
    for (let older = index - 1; older >= index - maxLightDistance; older--) {
      const known = fromOlder.get(older);
      if (!known) continue;
      for (const link of this.#evidence.links) {
        if (link.to === older && !fromOlder.has(link.from))
          fromOlder.set(link.from, composeMotions(known, link.motion));
      }
    }
    for (const light of this.#lights) {
      const distance = index - light.index;
      if (distance > 1 && distance % 4 !== 0) continue;
      const motion = this.#motion === 'none' ? noMotion : fromOlder.get(light.index);
      if (!motion) continue;
      const ratio = compareLight(grid, light.grid, invertMotion(motion), this.#fullSize);
      if (ratio) lightLinks.push({ of: index, to: light.index, ...ratio });
    }
    this.#lights.unshift({ index, grid });
    if (this.#lights.length > maxLightDistance) this.#lights.pop();
  }
}

function energyAboveNoise({ tileEnergy, noiseEnergy }: BandLevel): Float32Array {
  return tileEnergy.map((energy) => Math.max(0, energy - noiseEnergy));
}

function equalPlanes(left: Float32Array, right: Float32Array): boolean {
  for (let i = 0; i < left.length; i++) if (left[i] !== right[i]) return false;
  return true;
}

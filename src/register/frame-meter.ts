import type { PixelData, Size } from '../image/image.js';
import { Arena } from '../kernels/arena.js';
import { type DirectKernels, directKernels } from '../kernels/direct-kernels.js';
import { bytesOf } from '../kernels/piece-kernels.js';
import { votingLevels } from '../model/constants/register.js';
import type { FrameRecord } from './assemble-solution.js';
import {
  type BandLevel,
  fillBandPyramid,
  type LevelPlace,
  type PyramidScratch,
  pyramidAt,
  takePyramid,
  takePyramidScratch,
} from './band-pyramid.js';
import { frameDetail } from './frame-detail.js';
import { type LightGrid, measureLight } from './frame-light.js';
import {
  type LevelGeometry,
  levelGeometries,
  measurePair,
  type PairMeasurement,
  type PairOptions,
  type TilePlace,
  type TileScratch,
  takeTilePlace,
  tileScratchAt,
} from './pair-motion.js';
import {
  fillLightTables,
  type LightTables,
  lightTableBytes,
  type ReducedFrame,
  softenLuminance,
  writeLuminance,
} from './reduced-frame.js';
import type { TileGrid } from './tile-grid.js';

/** Size and type of the reduced frames of a stack, which are alike. */
export type FrameShape = Omit<ReducedFrame, 'number' | 'pixels'>;

/** Buffers of a thread that measures. */
interface MeterPlace {
  /** Address of the samples of the frame in work. */
  source: number;
  scratch: PyramidScratch;
  tile: TilePlace;
}

/** Where the frames of a stack are measured: plain data, which threads share with the memory. */
export interface MotionLayout {
  memory: WebAssembly.Memory;
  shape: FrameShape;
  tables: LightTables;
  geometry: LevelGeometry[];
  /** Pyramids, by slot. */
  slots: LevelPlace[][];
  /** One a thread. */
  meters: MeterPlace[];
}

/** Takes the memory for so many pyramids and threads. */
export function layMotion(shape: FrameShape, fullSize: Size, slots: number, threads: number): MotionLayout {
  const { width, height, channels, bits, factor } = shape;
  const arena = new Arena();
  const tables: LightTables = { pointer: arena.take(lightTableBytes(shape)), bits, channels };
  const pyramids = Array.from({ length: slots }, () => takePyramid(arena, width, height));
  const meters = Array.from({ length: threads }, () => ({
    scratch: takePyramidScratch(arena, width, height),
    source: arena.take(width * height * channels * (bits / 8)),
    tile: takeTilePlace(arena),
  }));
  fillLightTables(arena, tables);
  const geometry = levelGeometries(pyramids[0].length, fullSize, factor);
  return { memory: arena.memory, shape, tables, geometry, slots: pyramids, meters };
}

/** The tiles of each voting level as a grid. */
export function gridsOf({ slots: [levels], geometry }: MotionLayout): TileGrid[] {
  return levels.slice(0, votingLevels).map(({ tile, tilesX, tilesY }, n) => ({
    columns: tilesX,
    rows: tilesY,
    pitch: tile * geometry[n].pitch,
  }));
}

/** What is measured of a frame without others. */
export interface FrameMeasurement {
  record: Omit<FrameRecord, 'sameAsPrevious'>;
  light: LightGrid;
  /** Of the bands, by level. */
  noiseEnergies: number[];
}

/** A frame in a slot. */
export interface SlotFrame {
  slot: number;
  /** Differs from that of any other frame that was in the slot. */
  id: number;
  noiseEnergies: readonly number[];
}

/** Measures frames and pairs in one thread. */
export class FrameMeter {
  private readonly kernels: DirectKernels;
  private readonly pyramids: BandLevel[][];
  private readonly tileScratch: TileScratch;
  private readonly place: MeterPlace;
  /** Frame of each slot whose tiles this thread knows. */
  private readonly known: number[] = [];

  constructor(
    private readonly layout: MotionLayout,
    thread: number,
  ) {
    const { memory, slots, meters } = layout;
    this.place = meters[thread];
    this.kernels = directKernels(layout);
    this.pyramids = slots.map((places) => pyramidAt(places, memory));
    this.tileScratch = tileScratchAt(this.place.tile, memory, this.kernels);
  }

  /** Takes the samples of the frame that this thread is to measure; for any thread to call. */
  static putSamples({ memory, meters, shape }: MotionLayout, thread: number, frame: ReducedFrame): void {
    samplesAt(memory, meters[thread].source, frame.pixels.length, shape.bits).set(frame.pixels);
  }

  /** Fills a slot's pyramid from the samples that were taken, and measures the frame. */
  measure(number: number, slot: number): FrameMeasurement {
    const { layout, kernels, place } = this;
    const { memory, shape, tables } = layout;
    const { width, height, channels, bits } = shape;
    const levels = this.pyramids[slot];
    const [luma] = place.scratch.luma;
    // In the room of the band that is made of it.
    const plain = levels[0];
    writeLuminance(place.source, tables, plain, kernels);
    softenLuminance(plain, luma, place.scratch.rows, kernels);
    fillBandPyramid(levels, place.scratch, kernels);
    const pixels = samplesAt(memory, place.source, width * height * channels, bits);
    const energies = levels.slice(0, votingLevels).map(energyAboveNoise);
    return {
      record: { number, channels, ...frameDetail(levels), energies },
      light: measureLight({ ...shape, number, pixels }),
      noiseEnergies: levels.map(({ noiseEnergy }) => noiseEnergy),
    };
  }

  /** Motion from one frame to another. */
  compare(reference: SlotFrame, moving: SlotFrame, options: PairOptions): PairMeasurement {
    const [from, to] = [reference, moving].map((frame) => this.levelsOf(frame));
    return measurePair(from, to, this.layout.geometry, this.tileScratch, options);
  }

  /** Whether two slots hold the same picture. */
  isSame(one: number, other: number): boolean {
    const [left, right] = [one, other].map((slot) => bytesOf(this.pyramids[slot][0].band));
    return Buffer.compare(left, right) === 0;
  }

  /** The pyramid of a frame, which another thread may have filled. */
  private levelsOf({ slot, id, noiseEnergies }: SlotFrame): BandLevel[] {
    const levels = this.pyramids[slot];
    if (this.known[slot] !== id) {
      this.known[slot] = id;
      for (const [n, level] of levels.entries()) {
        level.hasMoments.fill(0);
        level.noiseEnergy = noiseEnergies[n];
      }
    }
    return levels;
  }
}

function samplesAt({ buffer }: WebAssembly.Memory, pointer: number, count: number, bits: 8 | 16): PixelData {
  return bits === 8 ? new Uint8Array(buffer, pointer, count) : new Uint16Array(buffer, pointer, count);
}

function energyAboveNoise({ tileEnergy, noiseEnergy }: BandLevel): Float32Array {
  return tileEnergy.map((energy) => Math.max(0, energy - noiseEnergy));
}

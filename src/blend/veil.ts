import { type FocusTracker, statePlane } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { affineArguments, type PlacedFrame } from '../image/placed-frame.js';
import type { Arena, Planes } from '../kernels/arena.js';
import { spiralPoints } from '../surface/spiral.js';
import { fullWeight, type Surface } from '../surface/surface.js';
import type { StripPool } from '../workers/pool.js';

/**
 * Light of nearer things, out of focus, that lies over farther detail in the frames that show it sharp, and how it is
 * taken away: see assembly/veil.ts. Addresses in the arena, level 1, rows tight.
 */
export interface Veil {
  /** Colour and share of the veil, u32. */
  veils: number;
  /** Stored places (u16) of the frames that it lies over. */
  places: number;
}

/** The most of a pixel that is taken for veil: what the surface has wrong, and noise, grow with it. Set on scenes. */
export const veilCap = 0.22;

/** What is this many frames nearer has blur enough to veil. */
const gapFrames = 4;
/** Farthest that a veil is looked for, px. */
const widestPx = 256;
const samples = 48;
/** The blur is taken smaller than measured: too wide a veil does harm, one too narrow clears a little less. */
const caution = 0.6;
/** Stored weight below which a place is too unsure to veil or to be cleared. */
const leastWeight = fullWeight;
const stripRows = 32;

/** A veil of a fiftieth of the light and more is counted. */
const plainVeil = Math.ceil((0.02 / veilCap) * 255) * 2 ** 24;

/** Room for the veil, in the arena. */
export function takeVeil(arena: Arena, size: Size): Veil {
  const { width, height } = levelSizes(size)[1];
  return { veils: arena.take(width * height * 4), places: arena.take(width * height * 2) };
}

/** Gathers the colours of what is sharp while the focus curves are followed; then finds the veil. */
export class VeilFinder {
  private readonly size: Size;
  private readonly colours: number;

  /** Takes room from the arena. The tracker follows three levels or more. */
  constructor(
    private readonly arena: Arena,
    private readonly pool: StripPool,
    private readonly tracker: FocusTracker,
  ) {
    const { width, height } = tracker.state[2];
    this.size = { width, height };
    this.colours = arena.take(width * height * 4);
  }

  /** To be called after the tracker has seen the frame. */
  async note(frame: PlacedFrame): Promise<void> {
    const best = this.tracker.state[2];
    await this.pool.run(
      'noteColoursStrip',
      {
        source: frame.pointer,
        bits: frame.bits,
        sourceWidth: frame.width,
        sourceHeight: frame.height,
        gainR: frame.gainRatio[0],
        gainG: frame.gainRatio[1],
        gainB: frame.gainRatio[2],
        ...affineArguments(frame.toFrame, 0),
        best: best.pointer + statePlane.bestOrdinal * best.planeBytes,
        stride: best.stride,
        width: best.width,
        height: best.height,
        ordinal: frame.ordinal,
        out: this.colours,
        stripRows,
      },
      Math.ceil(best.height / stripRows),
    );
  }

  /**
   * Finds the veil and returns the share of the picture over which it lies, 0 to 1.
   *
   * @param blurPx Radius of the blur one frame away: see `measureBlur`.
   * @param nearSign 1 when nearer means a lower ordinal, -1 when higher.
   */
  async find(
    veil: Veil,
    { places, weights, fractionBits }: Surface,
    blurPx: number,
    nearSign: -1 | 1,
  ): Promise<number> {
    const { arena, pool, size } = this;
    const mark = arena.mark();
    const [width, height] = [(places.width + 1) >> 1, (places.height + 1) >> 1];
    const thin = arena.take(size.width * size.height * 2);
    const nearest = this.thinPlaces(thin, places, weights, nearSign);
    const table = arena.take(samples * 12);
    arena.f32(table, samples * 3).set(spiralPoints(samples, (part) => part));
    await pool.run(
      'veilStrip',
      {
        places: places.pointer,
        weights: weights.pointer,
        leastWeight,
        stride: places.stride,
        thin,
        colours: this.colours,
        thinWidth: size.width,
        thinHeight: size.height,
        table,
        samples,
        blur: blurPx * caution,
        gap: gapFrames,
        cap: veilCap,
        widest: widestPx,
        nearSign,
        nearest,
        fractionBits,
        outPlaces: veil.places,
        outVeil: veil.veils,
        width,
        height,
        stripRows,
      },
      Math.ceil(height / stripRows),
    );
    arena.release(mark);
    let veiled = 0;
    for (const value of arena.u32(veil.veils, width * height)) if (value >= plainVeil) veiled++;
    return veiled / (width * height);
  }

  /** Every fourth place of every fourth row, 0 where it is unsure; returns the nearest sure one, times nearSign. */
  private thinPlaces(thin: number, places: Planes, weights: Planes, nearSign: -1 | 1): number {
    const { width, height } = this.size;
    const out = this.arena.u16(thin, width * height);
    const from = this.arena.planeU16(places);
    const sure = this.arena.planeU16(weights);
    let nearest = Infinity;
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const i = 4 * y * places.stride + 4 * x;
        const place = sure[i] >= leastWeight ? from[i] : 0;
        out[y * width + x] = place;
        if (place > 0) nearest = Math.min(nearest, nearSign * place);
      }
    }
    return nearest;
  }
}

import type { Pose } from './camera.js';
import { createRandom } from './random.js';

/** What goes wrong on a real bench. Zero switches each off. */
export interface ShootOptions {
  /** Each frame is shifted by up to this much in x and in y, px. */
  shiftPx: number;
  /** Each frame is turned by up to this much, degrees. */
  rollDeg: number;
  /** The light of each frame is up to this much stronger or weaker, per cent. */
  flickerPercent: number;
  /** Each travel is up to this much longer or shorter than the nominal step, per cent. */
  irregularPercent: number;
  /** How many frames are smeared by a shake during the exposure. */
  blurredFrames: number;
  /** Length of the smear, px. */
  smearPx: number;
  /** How much larger the picture is where the farthest plane is in focus than where the nearest is, per cent: a lens that breathes. */
  breathingPercent?: number;
  /** Which end of the subject the first frame shows. */
  order: 'near-to-far' | 'far-to-near';
}

/** How one frame is shot. */
export interface Shot {
  pose: Pose;
  /** Light of red, green and blue relative to the anchor's: factors in linear light. */
  gains: [number, number, number];
  /** Smear during the exposure, px; 0 0 for none. Symmetric, so that the pose stays true. */
  smearXPx: number;
  smearYPx: number;
}

/** Number of the anchor of n frames, counted from 1: the middle one, of two the nearer to the start. */
export function anchorNumber(frames: number): number {
  return Math.ceil(frames / 2);
}

/** Draws how each frame is shot. The anchor is at position 0 with gain 1 and is never smeared. */
export function planShots(frames: number, stepMm: number, options: ShootOptions, seed: number): Shot[] {
  const random = createRandom(seed, 'shots');
  const anchor = anchorNumber(frames) - 1;
  const direction = options.order === 'near-to-far' ? 1 : -1;
  const shots: Shot[] = [];
  let positionMm = 0;
  for (let k = 0; k < frames; k++) {
    if (k > 0) positionMm += direction * stepMm * (1 + spread(options.irregularPercent / 100));
    const light = 1 + spread(options.flickerPercent / 100);
    const tint = () => light * (1 + spread(options.flickerPercent / 500));
    shots.push({
      pose: {
        positionMm,
        shiftXPx: spread(options.shiftPx),
        shiftYPx: spread(options.shiftPx),
        rollRad: (spread(options.rollDeg) * Math.PI) / 180,
      },
      gains: [tint(), tint(), tint()],
      smearXPx: 0,
      smearYPx: 0,
    });
  }
  const { positionMm: anchorMm } = shots[anchor].pose;
  const anchorGains = shots[anchor].gains;
  const travelMm = stepMm * Math.max(1, frames - 1);
  for (const shot of shots) {
    shot.pose.positionMm -= anchorMm;
    shot.pose.scale = 1 + (((options.breathingPercent ?? 0) / 100) * shot.pose.positionMm) / travelMm;
    shot.gains = [
      shot.gains[0] / anchorGains[0],
      shot.gains[1] / anchorGains[1],
      shot.gains[2] / anchorGains[2],
    ];
  }
  smearSome(shots, anchor, options, seed);
  return shots;

  function spread(range: number): number {
    return random.between(-range, range);
  }
}

function smearSome(
  shots: Shot[],
  anchor: number,
  { blurredFrames, smearPx }: ShootOptions,
  seed: number,
): void {
  const random = createRandom(seed, 'smear');
  const candidates = shots.filter((_, k) => k !== anchor);
  for (let i = 0; i < blurredFrames && candidates.length > 0; i++) {
    const [shot] = candidates.splice(Math.floor(random.unit() * candidates.length), 1);
    const angle = random.between(0, Math.PI);
    shot.smearXPx = smearPx * Math.cos(angle);
    shot.smearYPx = smearPx * Math.sin(angle);
  }
}

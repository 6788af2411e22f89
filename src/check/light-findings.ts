import { median } from '../image/median.js';
import type { FrameMeasurements } from '../rail/frame-measurements.js';
import { encodingPower } from '../register/frame-light.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { Finding } from '../result/finding.js';
import { percentText } from '../result/report/numbers.js';
import { framesText } from './finding-text.js';

/** Light of each frame relative to the frames around it, and what to make of it. */
export interface LightJudgement {
  /** Light of each frame over the anchor's, mean of the channels. */
  light: number[];
  findings: Finding[];
}

/** Frames to either side that tell what is usual. */
const reach = 4;
/** Fewer frames on a side tell nothing by themselves. */
const fewestBeside = 2;
/** Departure of ln light that is seen. */
const seenLight = 0.075;
/** Departure of ln (red over green) or ln (blue over green). */
const seenColour = 0.06;
/** Share of pixels without one channel, percent, from which on the light of that channel is not known. */
const mostCut = 5;
/** Drift of ln light from end to end that is told: a third of a stop. */
const drift = Math.LN2 / 3;
/** Shares of clipped pixels that are told, percent; a larger area is a ground that was lit or left dark on purpose. */
const seenClipped = 0.5;
const groundPercent = 30;
const strongClipped = 5;

export function judgeLight(
  frames: readonly FrameMotion[],
  signs: readonly FrameMeasurements[],
): LightJudgement {
  const known = knownChannels(signs);
  const light = frames.map(({ gainRatio }) => {
    const told = gainRatio.filter((_, channel) => known[channel]);
    return geometricMean(told.length > 0 ? told : gainRatio) ** -encodingPower;
  });
  const logs = light.map(Math.log);
  const { off, odd: oddIndices } = departures(logs, seenLight);
  const odd = frames.filter((_, k) => oddIndices.has(k));
  const findings: Finding[] = [];
  if (odd.length > 0) {
    const most = Math.max(...[...oddIndices].map((k) => Math.abs(off[k])));
    findings.push({
      kind: 'light',
      // However strong: a merge multiplies it away, and what is burnt out or black by it is judged by itself.
      rank: 'flaw',
      frames: odd.map(({ number }) => number),
      message: `The light flickers: ${framesText(odd.map(({ number }) => number))} ${odd.length === 1 ? 'is' : 'are'} up to ${Math.round(100 * Math.expm1(most))} % brighter or darker than the frames around.`,
      advice:
        'A merge evens this out; for the next stack let the lamps settle, and fix shutter and aperture by hand.',
    });
  }
  const run = logs.at(-1)! - logs[0];
  if (Math.abs(run) > drift && odd.length === 0) {
    findings.push({
      kind: 'light',
      rank: 'flaw',
      frames: [],
      message: `The light drifts: the last frame is ${Math.round(100 * Math.expm1(Math.abs(run)))} % ${run > 0 ? 'brighter' : 'darker'} than the first.`,
      advice: 'Let the lamps settle, and keep daylight out.',
    });
  }
  return { light, findings: [...findings, ...colourFindings(frames, known), ...clippingFindings(signs)] };
}

/**
 * Whether each channel tells light. One that is cut off to black in part of the picture does not: blur lifts its dark places
 * over the bottom of the range, and its mean grows as detail goes out of focus.
 */
function knownChannels(signs: readonly FrameMeasurements[]): boolean[] {
  return [0, 1, 2].map(
    (channel) => !(median(Float64Array.from(signs, ({ cutPercent }) => cutPercent[channel])) >= mostCut),
  );
}

function colourFindings(frames: readonly FrameMotion[], known: readonly boolean[]): Finding[] {
  if (frames[0].gainRatio.length < 3) return [];
  const colour = (channel: number) =>
    known[1] && known[channel]
      ? departures(
          frames.map(({ gainRatio }) => encodingPower * Math.log(gainRatio[1] / gainRatio[channel])),
          seenColour,
        ).odd
      : new Set<number>();
  const [red, blue] = [colour(0), colour(2)];
  const odd = frames.filter((_, k) => red.has(k) || blue.has(k));
  if (odd.length === 0) return [];
  const numbers = odd.map(({ number }) => number);
  return [
    {
      kind: 'white-balance',
      rank: 'flaw',
      frames: numbers,
      message: `The colour of the light changes: ${framesText(numbers)} ${odd.length === 1 ? 'differs' : 'differ'} from the frames around.`,
      advice: 'Fix the white balance by hand, use one kind of lamp, and keep daylight out.',
    },
  ];
}

function clippingFindings(signs: readonly FrameMeasurements[]): Finding[] {
  return [
    ...clipped(
      signs,
      'highlights',
      'burntPercent',
      'burnt out',
      'Give less light or a shorter exposure, or soften the light.',
    ),
    ...clipped(
      signs,
      'shadows',
      'blockedPercent',
      'blocked to black',
      'Give more light, unless this is a ground that shall be black.',
    ),
  ];
}

function clipped(
  signs: readonly FrameMeasurements[],
  kind: 'highlights' | 'shadows',
  key: 'burntPercent' | 'blockedPercent',
  what: string,
  advice: string,
): Finding[] {
  const odd = signs.filter((sign) => sign[key] >= seenClipped);
  if (odd.length === 0) return [];
  const usual = median(Float64Array.from(signs, (sign) => sign[key]));
  const worst = odd.reduce((one, other) => (other[key] > one[key] ? other : one));
  const isGround = usual >= groundPercent || kind === 'shadows';
  const spot = kind === 'highlights' ? worst.burntSpot : undefined;
  return [
    {
      kind,
      rank: isGround ? 'note' : worst[key] >= strongClipped ? 'spoils' : 'flaw',
      frames: odd.length === signs.length ? [] : odd.map(({ number }) => number),
      message: `${percentText(worst[key])} of frame ${worst.number} is ${what}${
        odd.length > 1
          ? `, and some of ${odd.length === signs.length ? 'every frame' : framesText(odd.map(({ number }) => number))}`
          : ''
      }${spot ? `; most of it near x ${spot.x}, y ${spot.y}` : ''}.`,
      advice: isGround && kind === 'highlights' ? 'Fine for a white ground; else give less light.' : advice,
      ...(spot && { spots: [spot] }),
    },
  ];
}

/**
 * Values that depart by more than `seen` from the whole stack, and from the frames before or after them. Either alone would
 * name the wrong ones: beside a run of odd frames the plain ones depart from what is around, and where a lamp warms up both
 * ends depart from the whole. Frames that go on at the level of an odd one beside them belong to its run.
 *
 * @returns `off`: how far each lies from the whole.
 */
function departures(values: readonly number[], seen: number): { off: number[]; odd: Set<number> } {
  const off = withoutDrift(values);
  const odd = new Set(off.flatMap((value, k) => (Math.abs(value) > seen && stepsOut(k) ? [k] : [])));
  // A set is walked through to what is added on the way.
  for (const k of odd) {
    for (const next of [k - 1, k + 1]) {
      if (Math.abs(off[next] ?? 0) > seen && Math.abs(off[next] - off[k]) < seen) odd.add(next);
    }
  }
  return { off, odd };

  function stepsOut(k: number): boolean {
    const before = off.slice(Math.max(0, k - reach), k);
    const after = off.slice(k + 1, k + 1 + reach);
    // Near an end one side tells too little, and might follow a drift.
    const sides =
      Math.min(before.length, after.length) >= fewestBeside ? [before, after] : [[...before, ...after]];
    return sides.some((side) => side.length >= 2 && Math.abs(off[k] - middle(side)) > seen);
  }
}

/** Values less their median, and less their drift (Theil 1950, Sen 1968) where that leaves them closer together. */
function withoutDrift(values: readonly number[]): number[] {
  const slopes = values.flatMap((value, i) =>
    values.slice(0, i).map((other, j) => (value - other) / (i - j)),
  );
  const [plain, level] = [0, middle(slopes)].map((slope) => {
    const rest = values.map((value, k) => value - slope * k);
    const usual = middle(rest);
    return rest.map((value) => value - usual);
  });
  const spread = (rest: readonly number[]) => middle(rest.map(Math.abs));
  return spread(plain) <= spread(level) ? plain : level;
}

function middle(values: readonly number[]): number {
  return median(Float64Array.from(values));
}

function geometricMean(values: readonly number[]): number {
  return Math.exp(values.reduce((sum, value) => sum + Math.log(value), 0) / values.length);
}

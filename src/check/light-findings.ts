import { median } from '../image/median.js';
import { encodingPower } from '../model/constants/register.js';
import type { FrameFacts } from '../rail/frame-measurements.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { Finding } from '../result/finding.js';
import { percentText } from '../result/report/numbers.js';
import { framesText } from './finding-text.js';

/** Light of each frame, and findings about it. */
export interface LightJudgement {
  /** Light of each frame over the anchor's, mean of the channels. */
  light: number[];
  findings: Finding[];
}

/** Frames on each side that are compared. */
const framesPerSide = 4;
/** Minimum number of frames on a side to compare with that side alone. */
const minFramesPerSide = 2;
/** Visible deviation of ln light. */
const minLightDeviation = 0.075;
/** Visible deviation of ln (red over green) or ln (blue over green). */
const minColourDeviation = 0.06;
/** Share of pixels clipped to black in one channel, percent, from which the light of that channel is not known. */
const maxCutPercent = 5;
/** Minimum trend of ln light from end to end that is reported: a third of a stop. */
const minTrend = Math.LN2 / 3;
/**
 * Minimum share of clipped pixels that is reported, percent; a larger area is a background that was lit or left dark on
 * purpose.
 */
const minClippedPercent = 0.5;
const groundPercent = 30;
const spoilingClippedPercent = 5;

export function judgeLight(
  frames: readonly FrameMotion[],
  measurements: readonly FrameFacts[],
): LightJudgement {
  const known = knownChannels(measurements);
  const light = frames.map(({ gainRatio }) => {
    const measured = gainRatio.filter((_, channel) => known[channel]);
    return geometricMean(measured.length > 0 ? measured : gainRatio) ** -encodingPower;
  });
  const logs = light.map(Math.log);
  const { deviations, outlying: oddIndices } = outliers(logs, minLightDeviation);
  const outlying = frames.filter((_, k) => oddIndices.has(k));
  const findings: Finding[] = [];
  if (outlying.length > 0) {
    const largest = Math.max(...[...oddIndices].map((k) => Math.abs(deviations[k])));
    findings.push({
      kind: 'light',
      // A flaw, however strong: a merge compensates it by gain, and clipping by it is judged separately.
      rank: 'flaw',
      frames: outlying.map(({ number }) => number),
      message: `The light flickers: ${framesText(outlying.map(({ number }) => number))} ${outlying.length === 1 ? 'is' : 'are'} up to ${Math.round(100 * Math.expm1(largest))} % brighter or darker than the frames around.`,
      advice:
        'A merge evens this out; for the next stack let the lamps settle, and fix shutter and aperture by hand.',
    });
  }
  const trend = logs.at(-1)! - logs[0];
  if (Math.abs(trend) > minTrend && outlying.length === 0) {
    findings.push({
      kind: 'light',
      rank: 'flaw',
      frames: [],
      message: `The light drifts: the last frame is ${Math.round(100 * Math.expm1(Math.abs(trend)))} % ${trend > 0 ? 'brighter' : 'darker'} than the first.`,
      advice: 'Let the lamps settle, and keep daylight out.',
    });
  }
  return {
    light,
    findings: [...findings, ...colourFindings(frames, known), ...clippingFindings(measurements)],
  };
}

/**
 * Whether each channel measures light. One that is clipped to black in part of the picture does not: defocus lifts its
 * dark parts over the bottom of the range, so that its mean grows with defocus.
 */
function knownChannels(measurements: readonly FrameFacts[]): boolean[] {
  return [0, 1, 2].map(
    (channel) =>
      !(median(Float64Array.from(measurements, ({ cutPercent }) => cutPercent[channel])) >= maxCutPercent),
  );
}

function colourFindings(frames: readonly FrameMotion[], known: readonly boolean[]): Finding[] {
  if (frames[0].gainRatio.length < 3) return [];
  const colour = (channel: number) =>
    known[1] && known[channel]
      ? outliers(
          frames.map(({ gainRatio }) => encodingPower * Math.log(gainRatio[1] / gainRatio[channel])),
          minColourDeviation,
        ).outlying
      : new Set<number>();
  const [red, blue] = [colour(0), colour(2)];
  const outlying = frames.filter((_, k) => red.has(k) || blue.has(k));
  if (outlying.length === 0) return [];
  const numbers = outlying.map(({ number }) => number);
  return [
    {
      kind: 'white-balance',
      rank: 'flaw',
      frames: numbers,
      message: `The colour of the light changes: ${framesText(numbers)} ${outlying.length === 1 ? 'differs' : 'differ'} from the frames around.`,
      advice: 'Fix the white balance by hand, use one kind of lamp, and keep daylight out.',
    },
  ];
}

function clippingFindings(measurements: readonly FrameFacts[]): Finding[] {
  return [
    ...clipped(
      measurements,
      'highlights',
      'burntPercent',
      'burnt out',
      'Give less light or a shorter exposure, or soften the light.',
    ),
    ...clipped(
      measurements,
      'shadows',
      'blockedPercent',
      'blocked to black',
      'Give more light, unless this is a ground that shall be black.',
    ),
  ];
}

function clipped(
  measurements: readonly FrameFacts[],
  kind: 'highlights' | 'shadows',
  key: 'burntPercent' | 'blockedPercent',
  what: string,
  advice: string,
): Finding[] {
  const outlying = measurements.filter((measurement) => measurement[key] >= minClippedPercent);
  if (outlying.length === 0) return [];
  const usual = median(Float64Array.from(measurements, (measurement) => measurement[key]));
  const worst = outlying.reduce((one, other) => (other[key] > one[key] ? other : one));
  const isGround = usual >= groundPercent || kind === 'shadows';
  const spot = kind === 'highlights' ? worst.burntSpot : undefined;
  return [
    {
      kind,
      rank: isGround ? 'note' : worst[key] >= spoilingClippedPercent ? 'spoils' : 'flaw',
      frames: outlying.length === measurements.length ? [] : outlying.map(({ number }) => number),
      message: `${percentText(worst[key])} of frame ${worst.number} is ${what}${
        outlying.length > 1
          ? `, and some of ${outlying.length === measurements.length ? 'every frame' : framesText(outlying.map(({ number }) => number))}`
          : ''
      }${spot ? `; most of it near x ${spot.x}, y ${spot.y}` : ''}.`,
      advice: isGround && kind === 'highlights' ? 'Fine for a white ground; else give less light.' : advice,
      ...(spot && { spots: [spot] }),
    },
  ];
}

/**
 * Values that deviate by more than `minDeviation` from the whole stack, and from the frames before or after them.
 * Either test alone flags the wrong frames: beside a run of outliers the normal frames deviate locally, and where a
 * lamp warms up both ends deviate from the whole. Frames that continue at the level of an adjacent outlier belong to
 * its run.
 *
 * @returns `deviations`: deviation of each from the whole stack.
 */
function outliers(
  values: readonly number[],
  minDeviation: number,
): { deviations: number[]; outlying: Set<number> } {
  const deviations = detrended(values);
  const outlying = new Set(
    deviations.flatMap((value, k) => (Math.abs(value) > minDeviation && deviatesLocally(k) ? [k] : [])),
  );
  // Iterating over a set includes what is added meanwhile.
  for (const k of outlying) {
    for (const next of [k - 1, k + 1]) {
      if (
        Math.abs(deviations[next] ?? 0) > minDeviation &&
        Math.abs(deviations[next] - deviations[k]) < minDeviation
      )
        outlying.add(next);
    }
  }
  return { deviations, outlying };

  function deviatesLocally(k: number): boolean {
    const before = deviations.slice(Math.max(0, k - framesPerSide), k);
    const after = deviations.slice(k + 1, k + 1 + framesPerSide);
    // Near an end one side has too few frames, and may follow a trend.
    const sides =
      Math.min(before.length, after.length) >= minFramesPerSide ? [before, after] : [[...before, ...after]];
    return sides.some((side) => side.length >= 2 && Math.abs(deviations[k] - medianOf(side)) > minDeviation);
  }
}

/** Values less their median, and less their linear trend (Theil 1950, Sen 1968) where that reduces their spread. */
function detrended(values: readonly number[]): number[] {
  const slopes = values.flatMap((value, i) =>
    values.slice(0, i).map((other, j) => (value - other) / (i - j)),
  );
  const [plain, level] = [0, medianOf(slopes)].map((slope) => {
    const rest = values.map((value, k) => value - slope * k);
    const usual = medianOf(rest);
    return rest.map((value) => value - usual);
  });
  const spread = (rest: readonly number[]) => medianOf(rest.map(Math.abs));
  return spread(plain) <= spread(level) ? plain : level;
}

function medianOf(values: readonly number[]): number {
  return median(Float64Array.from(values));
}

function geometricMean(values: readonly number[]): number {
  return Math.exp(values.reduce((sum, value) => sum + Math.log(value), 0) / values.length);
}

import { coverageClassNames } from '../../../src/result/coverage.js';
import { distanceTransform } from './distance.js';
import { zoneOf } from './errors.js';

/** What a result says of a scene, beside the truth. Planes have shape (rows, cols). */
export interface EvidenceInput {
  /** Depth of the result and of the truth, steps from the anchor's plane of focus; NaN = none. */
  depth: Float32Array;
  truth: Float32Array;
  /** 0 to 1. */
  confidence: Float32Array;
  /** Index of the coverage class. */
  coverage: Uint8Array;
  /** 1 where the truth has texture and is judged, whatever its depth. */
  textured: Uint8Array;
  edgeDistancePx: Float32Array;
  /** 1 on hairs, needles and the like; undefined where the scene names none. */
  thin?: Uint8Array | undefined;
  /** Depths of the planes of focus of the first and the last frame, steps. */
  ends: readonly [first: number, last: number];
  width: number;
  height: number;
}

/** How far the maps of a result can be believed, percent; NaN = not measured. */
export interface EvidenceFigures {
  /** Textured pixels within the frames' range whose depth is off by more than 2 steps, by distance to depth edges. */
  offNearPercent: number;
  offMiddlePercent: number;
  offElsewherePercent: number;
  /** Pixels of thin things within 2 steps of their depth. */
  thinFoundPercent: number;
  /** Other pixels in the frames' range within 10 px of them whose depth is nearer than the truth by more than 2 steps. */
  groundTakenPercent: number;
  /** Of textured pixels with confidence 0.8 and more, those within 1 step; and the share of textured pixels that have it. */
  sureRightPercent: number;
  surePercent: number;
  /** Of all pixels with confidence 0.8 and more, smooth ground that no frame shows sharp among them, those within 1 step. */
  allSureRightPercent: number;
  /** Textured pixels whose coverage class is not that of the truth. */
  coverageWrongPercent: number;
}

const offSteps = 2;
const sureConfidence = 0.8;
const sureSteps = 1;
const groundPx = 10;
/** A depth so far beyond the outer planes of focus counts as out of the frames' range, steps. */
const endSteps = 0.5;

export function evidenceFigures(input: EvidenceInput): EvidenceFigures {
  const { depth, truth, confidence, coverage, textured, edgeDistancePx, thin, ends, width, height } = input;
  const near = Math.min(...ends) - endSteps;
  const far = Math.max(...ends) + endSteps;
  const isInRange = (i: number) => truth[i] >= near && truth[i] <= far;
  const isOff = (i: number) => !(Math.abs(depth[i] - truth[i]) <= offSteps);
  const zones = [new Share(), new Share(), new Share()];
  const sureRight = new Share();
  const sure = new Share();
  const wrong = new Share();
  const allSure = new Share();
  for (let i = 0; i < depth.length; i++) {
    const isSure = confidence[i] >= sureConfidence;
    const isRight = Math.abs(depth[i] - truth[i]) <= sureSteps;
    if (isSure && !Number.isNaN(truth[i])) allSure.count(isRight);
    if (textured[i] === 0) continue;
    wrong.count(coverage[i] !== expectedClass(truth[i], ends));
    if (!isInRange(i)) continue;
    zones[zoneOf(edgeDistancePx[i])].count(isOff(i));
    sure.count(isSure);
    if (isSure) sureRight.count(isRight);
  }
  const found = new Share();
  const taken = new Share();
  if (thin !== undefined) {
    const { squared } = distanceTransform(thin, width, height);
    for (let i = 0; i < depth.length; i++) {
      if (thin[i] !== 0) {
        if (isInRange(i)) found.count(!isOff(i));
      } else if (squared[i] <= groundPx ** 2 && isInRange(i)) {
        taken.count(depth[i] < truth[i] - offSteps);
      }
    }
  }
  return {
    offNearPercent: zones[0].percent,
    offMiddlePercent: zones[1].percent,
    offElsewherePercent: zones[2].percent,
    thinFoundPercent: found.percent,
    groundTakenPercent: taken.percent,
    sureRightPercent: sureRight.percent,
    surePercent: sure.percent,
    allSureRightPercent: allSure.percent,
    coverageWrongPercent: wrong.percent,
  };
}

/** One bar of a reliability diagram: pixels whose confidence lies in a tenth of the range. */
export interface ReliabilityBar {
  /** Lower end of the confidence, 0 to 0.9. */
  from: number;
  /** Share of the textured pixels, and how many of them lie within 1 step, percent; NaN for none. */
  sharePercent: number;
  rightPercent: number;
}

/** Of the textured pixels in the frames' range with a given confidence: how many are right. */
export function reliability({ depth, truth, confidence, textured, ends }: EvidenceInput): ReliabilityBar[] {
  const near = Math.min(...ends) - endSteps;
  const far = Math.max(...ends) + endSteps;
  const bars = Array.from({ length: 10 }, () => new Share());
  for (let i = 0; i < depth.length; i++) {
    if (textured[i] === 0 || !(truth[i] >= near && truth[i] <= far)) continue;
    bars[Math.min(9, Math.floor(confidence[i] * 10))].count(Math.abs(depth[i] - truth[i]) <= sureSteps);
  }
  const all = bars.reduce((sum, { of }) => sum + of, 0);
  return bars.map((bar, i) => ({
    from: i / 10,
    sharePercent: (100 * bar.of) / all,
    rightPercent: bar.percent,
  }));
}

/** Class of what lies at a depth, by the planes of focus of the first and the last frame. */
function expectedClass(truth: number, [first, last]: readonly [number, number]): number {
  const away = Math.sign(last - first);
  if ((truth - first) * away < -endSteps) return coverageClassNames.indexOf('before-first');
  if ((truth - last) * away > endSteps) return coverageClassNames.indexOf('after-last');
  return coverageClassNames.indexOf('covered');
}

class Share {
  of = 0;
  private hits = 0;

  count(hit: boolean): void {
    this.of++;
    if (hit) this.hits++;
  }

  get percent(): number {
    return this.of === 0 ? Number.NaN : (100 * this.hits) / this.of;
  }
}

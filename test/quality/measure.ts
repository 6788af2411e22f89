import { depthErrors } from './metrics/depth.js';
import { maskedAverage, pixelErrors } from './metrics/errors.js';
import { type EvidenceFigures, type EvidenceInput, evidenceFigures } from './metrics/evidence.js';
import { motionErrors } from './metrics/motion.js';
import { backgroundNoise } from './metrics/noise.js';
import { ssimMap } from './metrics/ssim.js';
import { lumaOf } from './raster.js';
import { frameSteps, type Result } from './result.js';
import type { Scene } from './scene.js';

/** One row of the quality table; NaN = not measured. Errors on the 8-bit scale. */
export interface Figures extends Partial<EvidenceFigures> {
  psnrDb: number;
  ssim: number;
  /** Mean absolute error up to 6 px from depth edges. */
  errorNear: number;
  /** Mean absolute error 6 to 30 px from depth edges. */
  errorMiddle: number;
  /** Mean absolute error elsewhere. */
  errorElsewhere: number;
  depthMedianSteps: number;
  depthOffPercent: number;
  backgroundNoise: number;
  /** Largest of the three channels' mean differences to the truth, without sign. */
  colour: number;
  /** Signed mean luma error in the ring where glow shows. */
  halo: number;
  motionMedianPx: number;
  motionWorstPx: number;
}

/** Measures one result against a scene. Throws when the sizes differ. */
export function measure(scene: Scene, result: Result): Figures {
  const { width, height } = scene.record;
  const { composite } = result;
  if (composite.width !== width || composite.height !== height) {
    throw new Error(
      `Expected a composite of ${width} x ${height} but it is ${composite.width} x ${composite.height}`,
    );
  }
  const errors = pixelErrors(composite, scene.truth, scene.judged, scene.edgeDistancePx);
  const luma = lumaOf(composite);
  const depth = result.depthSteps && depthErrors(result.depthSteps, scene.depth, scene.textured);
  const motion =
    result.transforms &&
    motionErrors(result.transforms, scene.record.transforms, scene.record.anchor - 1, width, height);
  const evidence = evidenceOf(scene, result);
  const noise = backgroundNoise(luma, scene.background, width, height);
  return {
    psnrDb: errors.psnrDb,
    ssim: maskedAverage(ssimMap(luma, scene.truthLuma, width, height), scene.judged),
    errorNear: errors.zoneMeans[0],
    errorMiddle: errors.zoneMeans[1],
    errorElsewhere: errors.zoneMeans[2],
    depthMedianSteps: depth?.medianSteps ?? Number.NaN,
    depthOffPercent: depth?.offPercent ?? Number.NaN,
    backgroundNoise: noise,
    colour: Math.max(...errors.colourShift.map(Math.abs)),
    halo: maskedAverage(luma, scene.farRing) - maskedAverage(scene.truthLuma, scene.farRing),
    motionMedianPx: motion?.medianPx ?? Number.NaN,
    motionWorstPx: motion?.worstPx ?? Number.NaN,
    ...(evidence && evidenceFigures(evidence)),
  };
}

/** What the maps of a result say beside the scene's truth; undefined when a map is missing. */
export function evidenceOf(scene: Scene, result: Result): EvidenceInput | undefined {
  const { depthSteps, confidence, coverage } = result;
  if (depthSteps === undefined || confidence === undefined || coverage === undefined) return undefined;
  const steps = frameSteps(scene.record);
  return {
    depth: depthSteps,
    truth: scene.depth,
    confidence,
    coverage,
    textured: scene.detailed,
    edgeDistancePx: scene.edgeDistancePx,
    thin: scene.thin,
    ends: [steps[0], steps[steps.length - 1]],
    width: scene.record.width,
    height: scene.record.height,
  };
}

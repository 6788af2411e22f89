import { measure } from '../measure.js';
import { pixelErrors } from '../metrics/errors.js';
import type { Raster } from '../raster.js';
import { frameSteps, interpolate } from '../result.js';
import type { Scene } from '../scene.js';
import type { Row } from '../table.js';
import { alignedFrames, toRaster } from './aligned.js';
import { DepthWeighted } from './depth-weighted.js';
import { FocusArgmax } from './focus-argmax.js';
import { MeanOfFrames, PickByTruth } from './picks.js';
import { PyramidSelection } from './pyramid-selection.js';

/** A baseline's row and the picture behind it; a row of depth figures alone has none. */
export interface BaselineRow extends Row {
  picture?: Raster;
}

/**
 * Runs every baseline on a scene, on frames aligned by the TRUE transforms (which favours them) and corrected
 * in mean grey. One frame is held at a time; the frames are read twice. About 1 s of one core per megapixel
 * and frame.
 */
export async function runBaselines(scene: Scene): Promise<BaselineRow[]> {
  const { width, height, transforms } = scene.record;
  const selection = new PyramidSelection();
  const focus = new FocusArgmax(width, height);
  const mean = new MeanOfFrames(width, height);
  const pick = new PickByTruth(scene);
  let best: { psnrDb: number; number: number; picture: Raster } | undefined;
  for await (const frame of alignedFrames(scene, transforms)) {
    selection.add(frame);
    focus.add(frame.grey);
    mean.add(frame);
    pick.add(frame);
    const picture = toRaster(frame.red, frame.green, frame.blue);
    const { psnrDb } = pixelErrors(picture, scene.truth, scene.judged, scene.edgeDistancePx);
    if (best === undefined || psnrDb > best.psnrDb) best = { psnrDb, number: frame.index + 1, picture };
  }
  if (best === undefined) throw new Error(`Expected frames in the scene ${scene.name} but there are none`);
  const weighted = new DepthWeighted(focus.whole(), width, height);
  for await (const frame of alignedFrames(scene, transforms)) weighted.add(frame);

  const steps = frameSteps(scene.record).map((value, index) => [index, value] as const);
  const row = (
    name: string,
    role: Row['role'],
    picture: Raster,
    depthFrames?: Float32Array,
  ): BaselineRow & { picture: Raster } => {
    const depthSteps = depthFrames && interpolate(depthFrames, steps);
    return { name, role, picture, figures: measure(scene, { composite: picture, depthSteps }) };
  };
  const weightedRow = row('depth-weighted', 'baseline', weighted.finish(), focus.whole());
  const peak = row('', 'baseline', weightedRow.picture, focus.interpolated()).figures;
  return [
    row('mean of frames', 'floor', mean.finish()),
    row(`best single frame, ${best.number}`, 'floor', best.picture),
    row('pyramid selection', 'baseline', selection.finish(), focus.whole()),
    weightedRow,
    {
      name: 'focus peak, Gaussian',
      role: 'baseline',
      figures: { depthMedianSteps: peak.depthMedianSteps, depthOffPercent: peak.depthOffPercent },
    },
    row('pick by true depth', 'ceiling', pick.finish()),
  ];
}

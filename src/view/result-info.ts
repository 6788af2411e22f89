import { basename } from 'node:path';
import { depthStops } from '../image/map-colours.js';
import { appliedMends, mendState } from '../mend/mended-record.js';
import type { Mend } from '../mend/mends-file.js';
import { coverageClasses } from '../result/coverage.js';
import { previewText } from '../result/preview-text.js';
import type { RunRecord } from '../result/run-record.js';
import type { StackFrame } from '../trace/stack-frames.js';
import type { ResultInfo } from './protocol.js';
import { tileSize } from './tiles.js';

/**
 * What the page gets of a result when it opens, and after saving.
 *
 * @param remedy What to do where frames are missing, a sentence.
 */
export function resultInfo(
  folder: string,
  record: RunRecord,
  frames: readonly StackFrame[],
  mends: Mend[],
  mapsKey: string,
  remedy: string,
): ResultInfo {
  const { depth, coverage } = record.maps;
  const applied = appliedMends(record);
  const there = new Set(frames.filter(({ path }) => path !== undefined).map(({ number }) => number));
  const missing = frames.filter(({ path }) => path === undefined).length;
  const warnings = [...(record.preview ? [previewText(record.preview)] : []), ...record.warnings];
  if (missing > 0) {
    warnings.unshift(
      `${missing} of ${frames.length} frames are not in ${frames[0].folder}: they cannot be shown or mended from. ${remedy}`,
    );
  }
  return {
    name: basename(folder),
    size: record.size,
    bits: record.composite.bits,
    unit: depth.unit,
    depthRange: depth.min === null || depth.max === null ? null : { near: depth.min, far: depth.max },
    mmPerPixel: record.mmPerPixel ?? null,
    anchor: record.anchorNumber,
    rule: record.options.rule,
    frames: record.frames.map((frame) => ({
      number: frame.number,
      name: frame.name,
      depth: frame.depth,
      sharePercent: frame.sharePercent,
      used: frame.used,
      leftOutReason: frame.leftOutReason ?? null,
      isThere: there.has(frame.number),
      scale: frame.transform ? Math.hypot(frame.transform[0], frame.transform[3]) : 1,
    })),
    coverage: coverage.classes.map(({ name, colour, percent }) => ({
      name,
      colour,
      percent,
      meaning: coverageClasses.find((entry) => entry.name === name)?.meaning ?? name,
    })),
    depthColours: depthStops(33),
    mends,
    applied: mends.filter((mend) => mendState(mend, applied) === 'applied').map(({ id }) => id),
    tileSize,
    mapsKey,
    warnings,
  };
}

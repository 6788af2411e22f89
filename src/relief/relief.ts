import { validateOptions, withDefaults } from '../options/validate-options.js';
import { throwIfStopped } from '../result/output-failure.js';
import { type ByteTarget, writeFileAside } from '../result/output-file.js';
import { type OutputTarget, refuseUnfitTarget } from '../result/output-target.js';
import { readRunRecord } from '../result/read-run-record.js';
import type { RunRecord } from '../result/run-record.js';
import { besideResult } from './beside-result.js';
import { buildContent, type ReliefContent } from './build-content.js';
import { reliefMark } from './mesh-format.js';
import { formatOf, type ReliefFormat, type ReliefOptions, reliefOptionTable } from './relief-options.js';
import type { LengthUnit } from './scale.js';
import { writeGlb } from './write-glb.js';
import { writeObj } from './write-obj.js';
import { writePly } from './write-ply.js';
import { writeStl } from './write-stl.js';

/** What a relief came out as. */
export interface ReliefReport {
  /** The file. */
  out: string;
  format: ReliefFormat;
  /** Unit of all lengths here; 'px' where the scale is not known: then depth is drawn to no scale. */
  unit: LengthUnit;
  /** Box around the relief: width, height, depth; a base included. */
  size: [number, number, number];
  vertices: number;
  triangles: number;
  /** How far the triangles lie from the depth of the result along the axis, where a cell has its middle. */
  maxError: number;
  rmsError: number;
  /** Pixels of the picture a side of the finest cell: 1 is the depth map as it is. */
  cellPx: number;
  /** Share of the picture that shows no detail or has no depth, 0 to 100. */
  groundPercent: number;
  /** Share of the cells that were specks of a wrong depth, and took the depth around them, 0 to 100. */
  speckPercent: number;
  /** Plain sentences on what is not known. */
  notes: string[];
}

/**
 * Makes a surface of a result's composite and depth, in mm where the scale is known, and writes it to one file.
 *
 * @param folder Result of a merge, mended or not.
 * @throws UsageError for bad options; InputError when the result cannot be read or has no confidence anywhere;
 *   OutputError when the file cannot be written, lies among photographs or in a result, or is no earlier relief;
 *   InterruptedError.
 */
export async function makeRelief(
  folder: string,
  given: Partial<ReliefOptions> = {},
  signal?: AbortSignal,
): Promise<ReliefReport> {
  const options = withDefaults(reliefOptionTable, validateOptions(reliefOptionTable, given));
  const out = options.out ?? besideResult(folder, '-relief.glb');
  const format = formatOf(out);
  const record = await readRunRecord(folder);
  const target: OutputTarget = {
    path: out,
    option: 'out',
    noun: `relief as .${format}`,
    inputs: [folder, record.folder],
    overwrite: options.overwrite,
    isOurs: (head) => head.includes(reliefMark),
  };
  await refuseUnfitTarget(target);
  const content = await buildContent(folder, record, format, options, signal);
  throwIfStopped(signal);
  const check = () => refuseUnfitTarget(target);
  await writeFileAside(out, (file) => writeAs(format, file, content, record), {
    option: 'out',
    check,
    signal,
  });
  const { points, triangles, unit, facts } = content;
  return {
    out,
    format,
    unit,
    vertices: points.length / 3,
    triangles: triangles.length / 3,
    ...facts,
  };
}

function writeAs(
  format: ReliefFormat,
  file: ByteTarget,
  content: ReliefContent,
  record: RunRecord,
): Promise<void> {
  if (format === 'glb') return writeGlb(file, content, record.size.width);
  if (format === 'ply') return writePly(file, content);
  if (format === 'obj') return writeObj(file, content);
  return writeStl(file, content);
}

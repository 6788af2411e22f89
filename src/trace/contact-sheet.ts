import { rename, rm } from 'node:fs/promises';
import ops from 'ndarray-ops';
import { partOf, viewOf } from '../image/view.js';
import { asOutputError, outputElsewhere } from '../result/output-failure.js';
import { type OutputTarget, refuseUnfitTarget } from '../result/output-target.js';
import { writePng } from '../result/png-file.js';
import { readResult } from '../result/read-result.js';
import { shortNumber } from '../result/report/numbers.js';
import { unfinishedPath } from '../result/unfinished.js';
import { alignRegion, frameFootprint } from './aligned-region.js';
import { readFrameRegion } from './frame-region.js';
import { drawLabel, glyphHeight, labelWidth } from './glyphs.js';
import { LocalKernels } from './local-kernels.js';
import type { PictureRegion } from './picture-region.js';
import { readCompositeRegion } from './result-region.js';
import { magnifyInto, reduceInto } from './scale-crop.js';
import { findStackFrames, requireUnchanged, type StackFrame } from './stack-frames.js';
import type { TraceOptions, TraceReport } from './trace.js';

/** Frames shown beside the composite. */
const shownFrames = 5;
/** Pictures a row. */
const maxColumns = 3;
/** Sides below this are magnified by a whole factor, so that single pixels can be distinguished. */
const minSide = 240;
/** Longer sides are reduced by a whole factor. */
const maxSide = 900;
const gap = 10;
const labelScale = 2;
const labelRoom = glyphHeight * labelScale + 10;
const paper = 24;
const ink = 235;

interface Cell {
  label: string;
  /** (height, width, 3). */
  rgb: Uint8Array;
}

/**
 * The frames worth seeing, of those that could be read: those that supplied the region and those whose measure is best,
 * in capture order.
 */
export function bestFrames(report: TraceReport, count = shownFrames): number[] {
  const sharpest = (report.focusCurve?.frames ?? [])
    .filter(({ measure }) => measure !== null)
    .sort((first, second) => second.measure! - first.measure!)
    .map(({ frame }) => frame);
  const suppliers = report.sources.map(({ frame }) => frame).filter((frame) => sharpest.includes(frame));
  const chosen = new Set<number>();
  for (let i = 0; chosen.size < count && i < Math.max(suppliers.length, sharpest.length); i++) {
    if (i < suppliers.length) chosen.add(suppliers[i]);
    if (i < sharpest.length && chosen.size < count) chosen.add(sharpest[i]);
  }
  return [...chosen].sort((first, second) => first - second);
}

/** By this a contact sheet is known again; stands behind the header of the PNG. */
const sheetMark = 'Lamella contact sheet';

export interface ContactSheetOptions extends TraceOptions {
  /** Replace an earlier contact sheet. Default false. */
  overwrite?: boolean | undefined;
}

/**
 * Refuses a path for a contact sheet, before anything is read.
 *
 * @throws OutputError for a path inside the result or among its photographs, and for a file that is no contact sheet.
 */
export function refuseUnfitSheet(
  path: string,
  folder: string,
  photographs: string,
  { framesFrom, overwrite }: ContactSheetOptions,
): Promise<void> {
  const target: OutputTarget = {
    path,
    option: 'crops',
    noun: 'contact sheet',
    inputs: [folder, photographs, framesFrom],
    overwrite,
    isOurs: (head) => head.includes(`Software\0${sheetMark}`),
  };
  return refuseUnfitTarget(target);
}

/**
 * Writes a PNG with the region of the composite and, aligned to it and in its light, the same region of the best
 * frames. A single pixel is shown with its surroundings, at its middle.
 *
 * @param path File to write; nothing is left under that name when it fails.
 * @throws InputError when none of the frames can be read; OutputError when the file cannot be written, lies inside the
 *   result or among the photographs, or would replace anything but an earlier sheet that may be replaced.
 */
export async function writeContactSheet(
  path: string,
  folder: string,
  report: TraceReport,
  options: ContactSheetOptions = {},
): Promise<void> {
  const result = await readResult(folder);
  const { record } = result;
  await refuseUnfitSheet(path, folder, record.folder, options);
  const region = shownRegion(report.region, record.size);
  const frames = await findStackFrames(record, options.framesFrom);
  const byNumber = new Map(frames.map((frame) => [frame.number, frame]));
  const kernels = await LocalKernels.start();
  const cells: Cell[] = [{ label: 'composite', rgb: await readCompositeRegion(result, region) }];
  for (const number of bestFrames(report)) {
    options.signal?.throwIfAborted();
    const frame = byNumber.get(number);
    if (!frame) continue;
    const rgb = await frameCrop(kernels, frame, await requireUnchanged(frame), region);
    if (rgb) cells.push({ label: cellLabel(frame, report), rgb });
  }
  await writeSheet(path, cells, region, () => refuseUnfitSheet(path, folder, record.folder, options));
}

/** A frame over a region of the composite, in its light, as 8-bit RGB; undefined when it does not cover it. */
export async function frameCrop(
  kernels: LocalKernels,
  frame: StackFrame,
  path: string,
  region: PictureRegion,
): Promise<Uint8Array | undefined> {
  const footprint = frameFootprint(frame.toFrame, region, frame.size);
  if (!footprint) return undefined;
  const patch = await readFrameRegion(frame, path, footprint);
  const { planes } = alignRegion(kernels, patch, frame.size, frame.toFrame, frame.gainRatio, region);
  const rgb = new Uint8Array(region.width * region.height * 3);
  planes.forEach((plane, channel) => {
    for (let i = 0; i < plane.length; i++)
      rgb[i * 3 + channel] = Math.max(0, Math.min(255, Math.round(plane[i])));
  });
  return rgb;
}

function cellLabel({ number, depth }: StackFrame, report: TraceReport): string {
  const share = report.sources.find(({ frame }) => frame === number)?.sharePercent ?? 0;
  const plane =
    depth === null ? '' : ` ${shortNumber(depth, 3)} ${report.depth?.unit === 'mm' ? 'mm' : 'step'}`;
  return `frame ${number}${plane} ${shortNumber(share, share < 1 ? 1 : 0)}%`;
}

/** A region of at least 41 pixels a side where the picture is large enough. */
function shownRegion(region: PictureRegion, size: { width: number; height: number }): PictureRegion {
  const grow = (from: number, length: number, all: number): [number, number] => {
    const wanted = Math.min(all, Math.max(length, 41));
    return [Math.max(0, Math.min(all - wanted, from - ((wanted - length) >> 1))), wanted];
  };
  const [x, width] = grow(region.x, region.width, size.width);
  const [y, height] = grow(region.y, region.height, size.height);
  return { x, y, width, height };
}

async function writeSheet(
  path: string,
  cells: readonly Cell[],
  region: PictureRegion,
  check: () => Promise<void>,
): Promise<void> {
  const longest = Math.max(region.width, region.height);
  const up = Math.max(1, Math.floor(minSide / longest));
  const down = Math.max(1, Math.ceil(longest / maxSide));
  const cellWidth = Math.ceil((region.width * up) / down);
  const cellHeight = Math.ceil((region.height * up) / down);
  const room = Math.max(cellWidth, ...cells.map(({ label }) => labelWidth(label) * labelScale));
  const across = Math.min(maxColumns, cells.length);
  const width = across * (room + gap) + gap;
  const height = Math.ceil(cells.length / across) * (cellHeight + labelRoom + gap) + gap;
  const sheet = new Uint8Array(width * height * 3).fill(paper);
  const view = viewOf(sheet, { width, height }, 3);
  cells.forEach(({ label, rgb }, i) => {
    const left = gap + (i % across) * (room + gap);
    const top = gap + Math.floor(i / across) * (cellHeight + labelRoom + gap);
    drawLabel(label, (x, y) => {
      const dot = {
        x: left + x * labelScale,
        y: top + y * labelScale,
        width: labelScale,
        height: labelScale,
      };
      ops.assigns(partOf(view, dot), ink);
    });
    const cell = { x: left, y: top + labelRoom, width: cellWidth, height: cellHeight };
    const crop = viewOf(rgb, region, 3);
    if (down > 1) reduceInto(partOf(view, cell), crop, down);
    else magnifyInto(partOf(view, cell), crop, up);
  });
  await writePngFile(path, sheet, width, height, check);
}

/** @param check Called once more before the file is renamed to its final name: reading the frames takes time. */
async function writePngFile(
  path: string,
  rgb: Uint8Array,
  width: number,
  height: number,
  check: () => Promise<void>,
): Promise<void> {
  const aside = unfinishedPath(path, 'partial');
  const row = (y: number) => rgb.subarray(y * width * 3, (y + 1) * width * 3);
  try {
    await writePng(aside, { width, height, channels: 3, bits: 8, row, software: sheetMark });
    await check();
    await rename(aside, path);
  } catch (error) {
    await rm(aside, { force: true });
    throw outputElsewhere(asOutputError(error, path), { aside, path, option: 'crops' });
  }
}

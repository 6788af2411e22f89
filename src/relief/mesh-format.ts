import type { ByteTarget } from '../result/output-file.js';
import { programVersion } from '../version.js';
import type { LengthUnit } from './scale.js';

/** A mesh as files hold it. */
export interface MeshContent {
  /** (vertices, 3): x right, y up, z towards the camera. */
  points: Float32Array;
  /** Unit of `points`. */
  unit: LengthUnit;
  /** Length of one unit of depth.tif. */
  perDepth: number;
  /** (triangles, 3), counterclockwise from outside. */
  triangles: Uint32Array;
  /** (vertices, 3), sRGB. */
  colour: Uint8Array;
  /** (vertices), 0 to 255. */
  confidence: Uint8Array;
  /** (vertices, 2), 0 to 1 from the upper left of the picture. */
  texture: Float32Array;
  /** The picture for `texture`, JPEG. */
  picture?: Buffer | undefined;
}

/** First words of the files: by them an earlier relief is known again. */
export const reliefMark = 'Lamella relief';
export const reliefTitle = `${reliefMark}, version ${programVersion()}`;

export const unitText: Record<LengthUnit, string> = {
  mm: 'millimetres',
  px: 'pixels of the picture, depth drawn to no scale',
};

/** Records gathered before they are written: a call to the system for each would take minutes. */
const recordsPerWrite = 1 << 15;

/** Writes records of one length. */
export async function writeRecords(
  file: ByteTarget,
  count: number,
  bytes: number,
  fill: (view: DataView, offset: number, i: number) => void,
): Promise<void> {
  for (let from = 0; from < count; from += recordsPerWrite) {
    const to = Math.min(count, from + recordsPerWrite);
    const chunk = new Uint8Array((to - from) * bytes);
    const view = new DataView(chunk.buffer);
    for (let i = from; i < to; i++) fill(view, (i - from) * bytes, i);
    await file.append(chunk);
  }
}

/** Writes lines of text. */
export async function writeLines(
  file: ByteTarget,
  count: number,
  line: (i: number) => string,
): Promise<void> {
  for (let from = 0; from < count; from += recordsPerWrite) {
    const lines: string[] = [];
    for (let i = from; i < Math.min(count, from + recordsPerWrite); i++) lines.push(line(i));
    await file.append(Buffer.from(lines.join('')));
  }
}

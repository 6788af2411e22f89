import { join } from 'node:path';
import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { optionError } from '../option-error.js';
import { systemCode } from '../result/output-failure.js';
import { writeAside } from '../result/output-file.js';
import {
  booleanShape,
  listShape,
  numberShape,
  objectShape,
  oneOfShape,
  type Shape,
  sizeShape,
  textShape,
  wholeShape,
} from '../result/shape.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import type { MendRegion } from './mend-region.js';

export const mendsFileName = 'mends.json';
export const mendsSchemaName = 'lamella-mends';
/** Raised when a field changes its meaning or goes. A field that is only added keeps the version. */
export const mendsSchemaVersion = 1;

export const maxFeatherPx = 1000;
export const maxNoteLength = 1000;
/** Thousands of outlines, drawn by hand, take a tenth of it. */
const maxMendsBytes = 64e6;

/** A recorded, reversible instruction: take this region from that frame. */
export interface Mend {
  /** Unique in its file. */
  id: number;
  /** Number of the frame, as in run.json. */
  frame: number;
  region: MendRegion;
  /** Width of the border around the region in which frame and composite are blended, composite pixels. */
  featherPx: number;
  /** Words for people. */
  note: string;
  /** False: it stays on the list but is not applied. */
  kept: boolean;
}

/** What mends.json holds: mends in the order in which they are applied. */
export interface MendsRecord {
  schema: typeof mendsSchemaName;
  version: typeof mendsSchemaVersion;
  /** Size of the composite that regions refer to. */
  size: Size;
  mends: Mend[];
}

/**
 * The mends recorded in a result folder; none when it has no mends.json.
 *
 * @param size Of the composite.
 * @throws InputError when mends.json is damaged, or made for a picture of another size.
 */
export async function readMends(folder: string, size: Size): Promise<Mend[]> {
  const path = join(folder, mendsFileName);
  let text: string;
  try {
    text = await readBoundedText(path, maxMendsBytes);
  } catch (error) {
    if (systemCode(error) === 'ENOENT') return [];
    throw new InputError(`Cannot read ${path}: ${fileErrorReason(error)}.`, {
      cause: error,
    });
  }
  let parsed: unknown;
  try {
    parsed = JSON.parse(text);
  } catch (error) {
    throw new InputError(`${path} is damaged: it is no JSON. Fix it, or remove it to start anew.`, {
      cause: error,
    });
  }
  const record = checkMendsRecord(parsed, path);
  if (record.size.width !== size.width || record.size.height !== size.height) {
    throw new InputError(
      `${path} was made for a picture of ${record.size.width} x ${record.size.height} pixels, but this one has ${size.width} x ${size.height}. Remove it to start anew.`,
    );
  }
  return record.mends;
}

/** Checks a parsed mends.json; `path` serves the messages. Frames and regions are checked by `checkMends`. */
export function checkMendsRecord(parsed: unknown, path: string): MendsRecord {
  const head = headShape(parsed, '');
  if (!head && (parsed as { version: number }).version > mendsSchemaVersion) {
    throw new InputError(
      `${path} has version ${(parsed as { version: number }).version} but this program reads versions up to ${mendsSchemaVersion}. Use a newer Lamella.`,
    );
  }
  const fault = head ?? recordShape(parsed, '');
  if (fault) {
    const shown = fault.received === undefined ? 'nothing' : JSON.stringify(fault.received).slice(0, 60);
    throw new InputError(
      `${path} is damaged: Expected ${fault.expected} for ${fault.field || 'the whole'} but received ${shown}. Fix it, or remove it to start anew.`,
    );
  }
  const record = parsed as MendsRecord;
  const twice = repeatedId(record.mends);
  if (twice !== undefined) {
    throw new InputError(`${path} is damaged: two mends have the id ${twice}. Give each its own.`);
  }
  return record;
}

/** An id that two mends of a list have; undefined when each has its own. */
export function repeatedId(mends: readonly Mend[]): number | undefined {
  const seen = new Set<number>();
  for (const { id } of mends) {
    if (seen.has(id)) return id;
    seen.add(id);
  }
  return undefined;
}

/** Writes mends.json into a folder, aside and renamed. */
export async function writeMends(folder: string, size: Size, mends: readonly Mend[]): Promise<void> {
  const record: MendsRecord = {
    schema: mendsSchemaName,
    version: mendsSchemaVersion,
    size,
    mends: [...mends],
  };
  const path = join(folder, mendsFileName);
  const text = `${JSON.stringify(record, null, 2)}\n`;
  checkMendsRecord(JSON.parse(text), path);
  await writeAside(path, text);
}

const pointShape = listShape(numberShape(), 2) as unknown as Shape<[number, number]>;
const rectangleShape = objectShape<Extract<MendRegion, { kind: 'rectangle' }>>({
  kind: oneOfShape('rectangle'),
  x: wholeShape(0),
  y: wholeShape(0),
  width: wholeShape(1),
  height: wholeShape(1),
});
const polygonShape = objectShape<Extract<MendRegion, { kind: 'polygon' }>>({
  kind: oneOfShape('polygon'),
  points: listShape(pointShape),
});
const regionShape: Shape<MendRegion> = (value, field) => {
  const isPolygon =
    typeof value === 'object' && value !== null && 'kind' in value && value.kind === 'polygon';
  return (isPolygon ? polygonShape : rectangleShape)(value, field);
};

/** Also for mends that come from elsewhere than a file, such as the page. */
export const mendListShape: Shape<Mend[]> = listShape(
  objectShape<Mend>({
    id: wholeShape(1),
    frame: wholeShape(0, 65535),
    region: regionShape,
    featherPx: numberShape(0, maxFeatherPx),
    note: textShape(/^[\s\S]{0,1000}$/, `text of ${maxNoteLength} characters at most`),
    kept: booleanShape,
  }),
);

/**
 * Checks mends that a caller gives, before anything is made of them.
 *
 * @throws UsageError that names the field, what it takes and what it got.
 */
export function checkMendList(mends: readonly Mend[]): void {
  const fault = mendListShape(mends, 'mends');
  if (fault) throw optionError(fault.field, fault.expected, fault.received);
  const ids = mends.map(({ id }) => id);
  const twice = ids.find((id, i) => ids.indexOf(id) !== i);
  if (twice !== undefined) throw optionError('mends', 'ids that occur once', twice);
}

const headShape = objectShape<{ schema: typeof mendsSchemaName; version: number }>({
  schema: oneOfShape(mendsSchemaName),
  version: wholeShape(1),
});

const recordShape = objectShape<MendsRecord>({
  schema: oneOfShape(mendsSchemaName),
  version: oneOfShape(mendsSchemaVersion),
  size: sizeShape(1),
  mends: mendListShape,
});

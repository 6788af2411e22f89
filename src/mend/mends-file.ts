import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { optionError } from '../option-error.js';
import type { SourceRule } from '../options/source-rule.js';
import { type KeptFile, readKept, writeKept } from '../result/kept-file.js';
import { pointShape, regionShape } from '../result/region-shape.js';
import {
  booleanShape,
  listShape,
  numberShape,
  objectShape,
  oneOfShape,
  optionalShape,
  type Shape,
  sizeShape,
  textShape,
  wholeShape,
} from '../result/shape.js';
import { type MendRegion, maxStrokeWidthPx, minStrokeWidthPx, type StrokeRegion } from './mend-region.js';

export const mendsFileName = 'mends.json';
export const mendsSchemaName = 'lamella-mends';
/** Raised when a field changes its meaning or goes. A field that is only added keeps the version. */
export const mendsSchemaVersion = 1;

export const maxFeatherPx = 1000;
export const maxNoteLength = 1000;

/** A recorded, reversible instruction: take this region from that frame, or as that rule merges it. */
export interface Mend {
  /** Unique in its file. */
  id: number;
  /** Number of the frame, as in run.json; 0 beside a rule. */
  frame: number;
  /**
   * Takes the region as this rule merges it, from the frames of the result; where the result was merged by this very
   * rule, as it was merged, without the mends before this one.
   */
  rule?: SourceRule | undefined;
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
  return (await readKept(mendsFile, folder, size))?.mends ?? [];
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
  await writeKept(mendsFile, folder, {
    schema: mendsSchemaName,
    version: mendsSchemaVersion,
    size,
    mends: [...mends],
  });
}

const strokeShape = objectShape<StrokeRegion>({
  kind: oneOfShape('stroke'),
  points: listShape(pointShape),
  widthPx: numberShape(minStrokeWidthPx, maxStrokeWidthPx),
});

const mendRegionShape: Shape<MendRegion> = (value, field) => {
  const isStroke = typeof value === 'object' && value !== null && 'kind' in value && value.kind === 'stroke';
  return (isStroke ? strokeShape : regionShape)(value, field);
};

const fieldsShape = objectShape<Mend>({
  id: wholeShape(1),
  frame: wholeShape(0, 65535),
  rule: optionalShape(oneOfShape('auto', 'select', 'weigh')),
  region: mendRegionShape,
  featherPx: numberShape(0, maxFeatherPx),
  note: textShape(/^[\s\S]{0,1000}$/, `text of ${maxNoteLength} characters at most`),
  kept: booleanShape,
});

const mendShape: Shape<Mend> = (value, field) => {
  const fault = fieldsShape(value, field);
  if (fault) return fault;
  const { rule, frame } = value as Mend;
  if (rule === undefined || frame === 0) return undefined;
  return { field: `${field}.frame`, expected: '0 beside a rule', received: frame };
};

/** Also for mends that come from elsewhere than a file, such as the page. */
export const mendListShape: Shape<Mend[]> = listShape(mendShape);

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

const recordShape = objectShape<MendsRecord>({
  schema: oneOfShape(mendsSchemaName),
  version: oneOfShape(mendsSchemaVersion),
  size: sizeShape(1),
  mends: mendListShape,
});

/** Frames and regions are checked by `checkMends`. */
const mendsFile: KeptFile<MendsRecord> = {
  name: mendsFileName,
  schema: mendsSchemaName,
  version: mendsSchemaVersion,
  // Thousands of outlines, drawn by hand, take a tenth of it.
  maxBytes: 64e6,
  shape: recordShape,
  remedy: 'Fix it, or remove it to start anew.',
  check({ mends }, path) {
    const twice = repeatedId(mends);
    if (twice !== undefined) {
      throw new InputError(`${path} is damaged: two mends have the id ${twice}. Give each its own.`);
    }
  },
};

import { join } from 'node:path';
import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import { systemCode } from './output-failure.js';
import { writeAside } from './output-file.js';
import type { RunRecord } from './run-record.js';
import {
  listShape,
  nullableShape,
  numberShape,
  objectShape,
  oneOfShape,
  optionalShape,
  type Shape,
  sizeShape,
  textShape,
  timeShape,
  wholeShape,
} from './shape.js';

export const measuresFileName = 'measures.json';
export const measuresSchemaName = 'lamella-measures';
/** Raised when a field changes its meaning or goes. A field that is only added keeps the version. */
export const measuresSchemaVersion = 1;
const maxMeasuresBytes = 64e6;

/** What can be measured. */
export type MeasureKind =
  | 'distance'
  | 'height'
  | 'angle'
  | 'profile'
  | 'area'
  | 'volume'
  | 'sphere'
  | 'roughness'
  | 'step-height';

/** A composite pixel; pixel centres lie at whole numbers. */
export type MeasurePoint = [x: number, y: number];

/** A part of the picture, in composite pixels; see `MendRegion`. */
export type MeasureRegion =
  | { kind: 'rectangle'; x: number; y: number; width: number; height: number }
  | { kind: 'polygon'; points: MeasurePoint[] };

/** What is measured, and where. */
export interface MeasureRequest {
  kind: MeasureKind;
  /** Two points; of an angle three, the second at its vertex. Absent where a region is measured. */
  points?: MeasurePoint[] | undefined;
  region?: MeasureRegion | undefined;
  /** Three points of the plane that a volume is measured against; else it is fitted to the region's rim. */
  plane?: MeasurePoint[] | undefined;
  /** Cut-off wavelength of roughness. */
  cutoff?: { value: number; unit: 'mm' | 'px' } | undefined;
  /** Words for people. */
  note?: string | undefined;
}

/** Units of values; 'px²·step' is that of a volume whose lengths are not known. */
export type QuantityUnit = 'px' | 'mm' | 'step' | '°' | 'px²' | 'mm²' | 'mm³' | 'px²·step';

/** One value of a measure. */
export interface Quantity {
  name: string;
  /** Null: it cannot be known. */
  value: number | null;
  /** Half width of the interval that holds the true value in about 95 of 100 cases (two standard uncertainties); null: unknown. */
  uncertainty: number | null;
  unit: QuantityUnit;
  /** Why it cannot be known, as a clause. */
  unknownBecause?: string | undefined;
}

/** A measure as it is kept with a result. */
export interface StoredMeasure extends MeasureRequest {
  /** Unique in its file. */
  id: number;
  note: string;
  quantities: Quantity[];
  /** Plain sentences on how far to trust the values. */
  remarks: string[];
  /** Of which state of the result: see `stateOfMeasures`. */
  state: string;
  measuredAt: string;
  /** The lengths that the values rest on, mm; null: unknown. */
  mmPerPixel: number | null;
  mmPerDepth: number | null;
  /** Standard uncertainty of these lengths, percent. */
  scaleErrorPercent: number;
}

/** What measures.json holds. */
export interface MeasuresRecord {
  schema: typeof measuresSchemaName;
  version: typeof measuresSchemaVersion;
  /** Size of the composite that points and regions refer to. */
  size: Size;
  measures: StoredMeasure[];
}

/** Changes when depth does: with another merge, and when mends are applied or undone. */
export function stateOfMeasures(record: RunRecord): string {
  const { mends } = record as RunRecord & { mends?: { appliedAt?: unknown } };
  return [record.startedAt, ...(typeof mends?.appliedAt === 'string' ? [mends.appliedAt] : [])].join(' ');
}

/**
 * The measures kept with a result; none when it has no measures.json.
 *
 * @throws InputError when the file is damaged, of a newer program, or made for a picture of another size.
 */
export async function readMeasures(folder: string, size: Size): Promise<StoredMeasure[]> {
  const path = join(folder, measuresFileName);
  let text: string;
  try {
    text = await readBoundedText(path, maxMeasuresBytes);
  } catch (error) {
    if (systemCode(error) === 'ENOENT') return [];
    throw new InputError(`Cannot read ${path}: ${fileErrorReason(error)}.`, { cause: error });
  }
  let parsed: unknown;
  try {
    parsed = JSON.parse(text);
  } catch (error) {
    throw new InputError(`${path} is damaged: it is no JSON. Remove it to start anew.`, { cause: error });
  }
  const record = checkMeasuresRecord(parsed, path);
  if (record.size.width !== size.width || record.size.height !== size.height) {
    throw new InputError(
      `${path} was made for a picture of ${record.size.width} x ${record.size.height} pixels, but this one has ${size.width} x ${size.height}. Remove it to start anew.`,
    );
  }
  return record.measures;
}

/** Writes measures.json into a folder, aside and renamed. */
export async function writeMeasures(
  folder: string,
  size: Size,
  measures: readonly StoredMeasure[],
): Promise<void> {
  const record: MeasuresRecord = {
    schema: measuresSchemaName,
    version: measuresSchemaVersion,
    size,
    measures: [...measures],
  };
  const path = join(folder, measuresFileName);
  const text = `${JSON.stringify(record, null, 2)}\n`;
  checkMeasuresRecord(JSON.parse(text), path);
  await writeAside(path, text);
}

/** Checks a parsed measures.json; `path` serves the messages. */
export function checkMeasuresRecord(parsed: unknown, path: string): MeasuresRecord {
  const head = headShape(parsed, '');
  if (!head && (parsed as { version: number }).version > measuresSchemaVersion) {
    throw new InputError(
      `${path} has version ${(parsed as { version: number }).version} but this program reads versions up to ${measuresSchemaVersion}. Use a newer Lamella.`,
    );
  }
  const fault = head ?? recordShape(parsed, '');
  if (fault) {
    const shown = fault.received === undefined ? 'nothing' : JSON.stringify(fault.received).slice(0, 60);
    throw new InputError(
      `${path} is damaged: Expected ${fault.expected} for ${fault.field || 'the whole'} but received ${shown}. Remove it to start anew.`,
    );
  }
  return parsed as MeasuresRecord;
}

const pointShape = listShape(numberShape(), 2) as unknown as Shape<MeasurePoint>;
const rectangleShape = objectShape<Extract<MeasureRegion, { kind: 'rectangle' }>>({
  kind: oneOfShape('rectangle'),
  x: wholeShape(0),
  y: wholeShape(0),
  width: wholeShape(1),
  height: wholeShape(1),
});
const polygonShape = objectShape<Extract<MeasureRegion, { kind: 'polygon' }>>({
  kind: oneOfShape('polygon'),
  points: listShape(pointShape),
});
const regionShape: Shape<MeasureRegion> = (value, field) => {
  const isPolygon =
    typeof value === 'object' && value !== null && 'kind' in value && value.kind === 'polygon';
  return (isPolygon ? polygonShape : rectangleShape)(value, field);
};

const requestFields = {
  kind: oneOfShape(
    'distance',
    'height',
    'angle',
    'profile',
    'area',
    'volume',
    'sphere',
    'roughness',
    'step-height',
  ),
  points: optionalShape(listShape(pointShape)),
  region: optionalShape(regionShape),
  plane: optionalShape(listShape(pointShape, 3)),
  cutoff: optionalShape(
    objectShape<{ value: number; unit: 'mm' | 'px' }>({
      value: numberShape(Number.MIN_VALUE),
      unit: oneOfShape('mm', 'px'),
    }),
  ),
};
const noteShape = textShape(/^[\s\S]{0,1000}$/, 'text of 1000 characters at most');

/** Also for requests that come from elsewhere than a file, such as the page. */
export const measureRequestShape: Shape<MeasureRequest> = objectShape<MeasureRequest>({
  ...requestFields,
  note: optionalShape(noteShape),
});

const quantityShape = objectShape<Quantity>({
  name: textShape(),
  value: nullableShape(numberShape()),
  uncertainty: nullableShape(numberShape(0)),
  unit: oneOfShape('px', 'mm', 'step', '°', 'px²', 'mm²', 'mm³', 'px²·step'),
  unknownBecause: optionalShape(textShape()),
});

const headShape = objectShape<{ schema: typeof measuresSchemaName; version: number }>({
  schema: oneOfShape(measuresSchemaName),
  version: wholeShape(1),
});

const recordShape = objectShape<MeasuresRecord>({
  schema: oneOfShape(measuresSchemaName),
  version: oneOfShape(measuresSchemaVersion),
  size: sizeShape(1),
  measures: listShape(
    objectShape<StoredMeasure>({
      ...requestFields,
      id: wholeShape(1),
      note: noteShape,
      quantities: listShape(quantityShape),
      remarks: listShape(textShape()),
      state: textShape(),
      measuredAt: timeShape,
      mmPerPixel: nullableShape(numberShape(0)),
      mmPerDepth: nullableShape(numberShape(0)),
      scaleErrorPercent: numberShape(0, 100),
    }),
  ),
});

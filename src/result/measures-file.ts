import type { Size } from '../image/image.js';
import { type KeptFile, readKept, writeKept } from './kept-file.js';
import { type MeasurePoint, type MeasureRegion, pointShape, regionShape } from './region-shape.js';
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

/** What measures.json holds for these measures. */
export function measuresRecord(size: Size, measures: readonly StoredMeasure[]): MeasuresRecord {
  return { schema: measuresSchemaName, version: measuresSchemaVersion, size, measures: [...measures] };
}

/**
 * The measures kept with a result; none when it has no measures.json.
 *
 * @throws InputError when the file is damaged, of a newer program, or made for a picture of another size.
 */
export async function readMeasures(folder: string, size: Size): Promise<StoredMeasure[]> {
  return (await readKept(measuresFile, folder, size))?.measures ?? [];
}

/** Writes measures.json into a folder, aside and renamed. */
export async function writeMeasures(
  folder: string,
  size: Size,
  measures: readonly StoredMeasure[],
): Promise<void> {
  await writeKept(measuresFile, folder, measuresRecord(size, measures));
}

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

const measuresFile: KeptFile<MeasuresRecord> = {
  name: measuresFileName,
  schema: measuresSchemaName,
  version: measuresSchemaVersion,
  maxBytes: 64e6,
  shape: recordShape,
  remedy: 'Remove it to start anew.',
};

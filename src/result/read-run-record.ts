import { join } from 'node:path';
import { InputError } from '../errors.js';
import type { Matrix3 } from '../image/transform.js';
import type { MergeOptions } from '../options/merge-options.js';
import { maxRunBytes } from '../stack/earlier-result.js';
import type { DirectionEvidence, Growth, PictureEvidence } from '../stack/focus-direction.js';
import type { FrameExif, FrameReduction } from '../stack/frame.js';
import { colourSpaces } from '../stack/raw/colour-space.js';
import type { Development } from '../stack/raw/development.js';
import { readBoundedText } from '../stack/regular-file.js';
import { coverageClassNames } from './coverage.js';
import { findingShape } from './finding-shape.js';
import { requireResultFolder } from './result-folder.js';
import {
  type CompositeRecord,
  type CoverageClassRecord,
  type CropRectangle,
  type DepthPngRecord,
  type DepthRecord,
  type MapsRecord,
  type RunFrame,
  type RunRecord,
  runFileName,
  runSchemaName,
  runSchemaVersion,
} from './run-record.js';
import {
  anyObjectShape,
  booleanShape,
  listShape,
  mapShape,
  nullableShape,
  numberShape,
  objectShape,
  oneOfShape,
  optionalShape,
  resultFileShape,
  type Shape,
  sha256Shape,
  sizeShape,
  textShape,
  timeShape,
  wholeShape,
} from './shape.js';

/**
 * Reads and checks run.json of a result folder.
 *
 * @param folder The folder that a merge wrote.
 * @returns The record; `options` and the frames' `exif` are checked to be objects only.
 * @throws InputError when the folder is no result, was written by a newer program, or is damaged.
 */
export async function readRunRecord(folder: string): Promise<RunRecord> {
  await requireResultFolder(folder);
  const path = join(folder, runFileName);
  let parsed: unknown;
  try {
    parsed = JSON.parse(await readBoundedText(path, maxRunBytes));
  } catch (error) {
    throw new InputError(`Cannot read ${path}: it is damaged or unreadable. Merge the stack again.`, {
      cause: error,
    });
  }
  return checkRunRecord(parsed, path);
}

/** Checks a parsed run.json; `path` serves the messages. Same errors as `readRunRecord`. */
export function checkRunRecord(parsed: unknown, path: string): RunRecord {
  const head = headShape(parsed, '');
  if (head) throw damaged(path, head.field, head.expected, head.received);
  const { version } = parsed as { version: number };
  if (version > runSchemaVersion) {
    throw new InputError(
      `${path} has version ${version} but this program reads versions up to ${runSchemaVersion}. Use a newer Lamella, or merge the stack again with this one.`,
    );
  }
  const fault = recordShape(parsed, '');
  if (fault) throw damaged(path, fault.field, fault.expected, fault.received);
  return parsed as RunRecord;
}

function damaged(path: string, field: string, expected: string, received: unknown): InputError {
  const shown = received === undefined ? 'nothing' : JSON.stringify(received).slice(0, 60);
  return new InputError(
    `${path} is damaged: Expected ${expected} for ${field || 'the whole'} but received ${shown}. Merge the stack again.`,
  );
}

const headShape = objectShape<{ schema: typeof runSchemaName; version: number }>({
  schema: oneOfShape(runSchemaName),
  version: wholeShape(1),
});

const percentShape = numberShape(0, 100);
const bitsShape = oneOfShape(8, 16);
const channelsShape = oneOfShape(1, 3);
const unitShape = oneOfShape('mm', 'step');
const nineNumbers = listShape(numberShape(), 9);
/** Far beyond what frames of one stack differ by: what lies outside cannot be inverted with any sense. */
const maxScale = 1000;

const matrixShape: Shape<Matrix3> = (value, field) => {
  const fault = nineNumbers(value, field);
  if (fault) return fault;
  const [a, b, , d, e, , ...last] = value as number[];
  const determinant = Math.abs(a * e - b * d);
  const isAffine = last[0] === 0 && last[1] === 0 && last[2] === 1;
  if (isAffine && determinant >= maxScale ** -2 && determinant <= maxScale ** 2) return undefined;
  return {
    field,
    expected: `an affine transform with a scale from ${1 / maxScale} to ${maxScale}`,
    received: value,
  };
};

const frameShape = objectShape<RunFrame>({
  number: wholeShape(1, 65535),
  name: textShape(),
  path: textShape(),
  sizeBytes: wholeShape(0),
  modifiedMs: numberShape(),
  sha256: sha256Shape,
  exif: anyObjectShape<FrameExif>(),
  used: booleanShape,
  leftOutReason: optionalShape(textShape()),
  gainRatio: listShape(numberShape(0)),
  transform: nullableShape(matrixShape),
  residualPx: nullableShape(numberShape(0)),
  scaleResidual: nullableShape(numberShape()),
  depth: nullableShape(numberShape()),
  travelSteps: optionalShape(nullableShape(numberShape(0))),
  sharePercent: percentShape,
});

const compositeShape = objectShape<CompositeRecord>({
  file: resultFileShape,
  bits: bitsShape,
  channels: channelsShape,
  hasIcc: booleanShape,
  hasExif: booleanShape,
});

const mapsShape = objectShape<MapsRecord>({
  depth: objectShape<DepthRecord>({
    file: resultFileShape,
    unit: unitShape,
    noData: oneOfShape('NaN'),
    positive: oneOfShape('away from the camera'),
    min: nullableShape(numberShape()),
    max: nullableShape(numberShape()),
  }),
  depthPng: objectShape<DepthPngRecord>({
    file: resultFileShape,
    offset: numberShape(),
    scale: numberShape(0),
    unit: unitShape,
    noData: oneOfShape(0),
  }),
  sources: objectShape<MapsRecord['sources']>({ file: resultFileShape, noData: oneOfShape(0) }),
  confidence: objectShape<MapsRecord['confidence']>({ file: resultFileShape, scale: numberShape(0) }),
  coverage: objectShape<MapsRecord['coverage']>({
    file: resultFileShape,
    classes: listShape(
      objectShape<CoverageClassRecord>({
        value: wholeShape(0, 255),
        name: oneOfShape(...coverageClassNames),
        colour: textShape(/^#[0-9a-f]{6}$/, 'a colour as #rrggbb'),
        percent: percentShape,
      }),
    ),
  }),
});

const recordShape = objectShape<RunRecord>({
  schema: oneOfShape(runSchemaName),
  version: oneOfShape(runSchemaVersion),
  programVersion: textShape(),
  startedAt: timeShape,
  wallMs: numberShape(0),
  device: optionalShape(textShape()),
  stagesMs: mapShape(numberShape(0)),
  options: anyObjectShape<MergeOptions>(),
  folder: textShape(),
  size: sizeShape(1),
  frameSize: sizeShape(1),
  preview: optionalShape(
    objectShape<FrameReduction>({ factor: oneOfShape(2, 4, 8), fileSize: sizeShape(1) }),
  ),
  bits: bitsShape,
  channels: channelsShape,
  development: optionalShape(
    objectShape<Development>({
      multipliers: listShape(numberShape(0), 4),
      exposureStops: numberShape(-5, 5),
      colourSpace: oneOfShape(...colourSpaces),
      black: optionalShape(listShape(numberShape(0, 65_535), 4)),
      white: optionalShape(numberShape(0, 65_535)),
    }),
  ),
  orderedBy: oneOfShape('exif time', 'name'),
  direction: oneOfShape('near-to-far', 'far-to-near', 'unknown'),
  directionBy: optionalShape(oneOfShape('option', 'focused distances', 'pictures', 'growth')),
  directionEvidence: optionalShape(
    objectShape<DirectionEvidence>({
      pictures: optionalShape(
        objectShape<PictureEvidence>({
          z: numberShape(),
          agreement: numberShape(0, 1),
          blocks: wholeShape(0),
          blurPx: numberShape(0),
        }),
      ),
      growth: optionalShape(objectShape<Growth>({ perFrame: numberShape(), sigma: numberShape(0) })),
    }),
  ),
  anchorNumber: wholeShape(1),
  frames: listShape(frameShape),
  composite: compositeShape,
  maps: mapsShape,
  crop: objectShape<CropRectangle>({
    x: numberShape(),
    y: numberShape(),
    width: wholeShape(1),
    height: wholeShape(1),
  }),
  mmPerPixel: optionalShape(numberShape(0)),
  stepMm: optionalShape(numberShape(0)),
  focusWidthSteps: optionalShape(numberShape(0)),
  positionsMm: optionalShape(listShape(numberShape())),
  findings: optionalShape(listShape(findingShape)),
  warnings: listShape(textShape()),
  notes: listShape(textShape()),
});

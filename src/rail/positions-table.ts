import { InputError, named } from '../errors.js';
import { readNumber } from '../options/read-number.js';
import { readQuantity } from '../options/read-quantity.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import {
  type ColumnMeaning,
  columnMeaning,
  namesForeignUnit,
  type PositionUnit,
  understoodHeadings,
  unitOfCell,
} from './position-columns.js';
import { type Row, splitRows } from './table-rows.js';

/** Positions of the frames in capture order. */
export interface FramePositions {
  values: number[];
  /** In mm, or in a unit whose length is not known, such as focus steps of the camera. */
  unit: 'mm' | 'relative';
}

/** What a table of positions may not say itself. */
export interface PositionsFacts {
  /** Travel of the rail for one step of its motor, µm, for positions in steps. */
  pitchUm?: number | undefined;
  /** Take positions as they count, whatever they count: nobody knows how long their unit is. */
  isRelative?: boolean | undefined;
}

/** A table of positions is a few kilobytes; more is some other file. */
const maxBytes = 10_000_000;
/** Of a cell that is refused, in the message. */
const maxShownChars = 60;
/** Digits that a conversion to mm keeps: beyond them lies its rounding. */
const digits = 12;

/**
 * Positions of the frames in capture order from a text file, such as the log of a motor rail; see `parsePositions`.
 *
 * @param facts What the file itself may not say.
 * @throws InputError when the file cannot be read or a line is wrong.
 */
export async function readPositionsFile(path: string, facts: PositionsFacts = {}): Promise<FramePositions> {
  let text: string;
  try {
    text = await readBoundedText(path, maxBytes);
  } catch (error) {
    throw new InputError(`Cannot read the positions file ${path}: ${fileErrorReason(error)}.`, {
      cause: error,
    });
  }
  return parsePositions(text, path, facts);
}

/**
 * Positions from the text of a table: a line holds a position, or the number of a frame and its position. The first line
 * may name the columns (`understoodHeadings`), and others beside them are passed over, so that the sheet of a plan and
 * the log of a motor rail are understood as they are: notes behind the table, after an empty line, are no part of it. A
 * unit may stand in the heading, in a line of units below it, or behind a number; without one positions are in mm. Steps of the
 * motor become mm by a pitch, from a column or from `pitchUm`; focus steps of the camera have no length. Frames may come
 * in any order, but each from 1 (or 0) to the last exactly once.
 *
 * Throws InputError, '<name>, line <n>: ...'.
 */
export function parsePositions(text: string, name: string, facts: PositionsFacts = {}): FramePositions {
  const table = readTable(splitRows(text), name, facts.isRelative ?? false);
  const { rows } = table;
  if (rows.length === 0)
    throw new InputError(`${name} holds no positions: put one position in mm on each line.`);
  const pitchMm = facts.isRelative ? undefined : pitchOf(table, facts.pitchUm, name);

  const values: number[] = [];
  const lineOfFrame = new Map<number, number>();
  const first = firstFrame(table);
  for (const { line, fields } of rows) {
    const cell = fields[table.position] ?? '';
    const position = readPosition(cell, table.unit, pitchMm);
    if (position === undefined) {
      const what = isCount(table.unit) ? 'a number of steps' : 'a position in mm';
      throw fault(name, line, `expected ${what} but received "${shortened(cell)}"`);
    }
    const given = table.frame === undefined ? lineOfFrame.size + 1 : readNumber(fields[table.frame] ?? '');
    const frame = given === undefined ? undefined : given + 1 - first;
    if (frame === undefined || !Number.isInteger(frame) || frame < 1 || frame > rows.length) {
      throw fault(
        name,
        line,
        `expected a frame number from ${first} to ${rows.length - 1 + first} but received "${fields[table.frame ?? 0] ?? ''}"`,
      );
    }
    const earlier = lineOfFrame.get(frame);
    if (earlier !== undefined)
      throw fault(name, line, `frame ${given} has a position in line ${earlier} already`);
    lineOfFrame.set(frame, line);
    values[frame - 1] = position;
  }
  return { values, unit: facts.isRelative || table.unit === 'focus step' ? 'relative' : 'mm' };
}

interface Table {
  /** Those that hold positions. */
  rows: Row[];
  /** Columns, from 0. */
  position: number;
  frame: number | undefined;
  pitch: { column: number; unit: PositionUnit } | undefined;
  /** Of positions without one of their own. */
  unit: PositionUnit;
  isNamed: boolean;
}

/** What the columns of a table are: by their names where they have such, else by their number. */
function readTable(rows: readonly Row[], name: string, isRelative: boolean): Table {
  const [first, ...others] = rows;
  const hasHeading = first !== undefined && !first.fields.some((field) => isQuantity(field));
  if (hasHeading) return namedTable(first, others, name, isRelative);
  const columns = first?.fields.length ?? 0;
  for (const { line, fields } of rows) {
    if (fields.length === columns && columns <= 2) continue;
    const wanted =
      columns === 2 ? 'a frame number and a position' : 'one position, or a frame number and a position';
    throw fault(name, line, `expected ${wanted} but received ${fields.length} fields`);
  }
  const frame = columns === 2 ? 0 : undefined;
  const position = Math.max(0, columns - 1);
  return { rows: [...rows], position, frame, pitch: undefined, unit: 'mm', isNamed: false };
}

function namedTable(heading: Row, others: readonly Row[], name: string, isRelative: boolean): Table {
  const meanings = heading.fields.map(columnMeaning);
  const [units, rows] = unitLine(others);
  const position = positionColumn(meanings, units);
  const chosen = position === undefined ? undefined : heading.fields[position];
  if (position === undefined || (!isRelative && chosen !== undefined && namesForeignUnit(chosen))) {
    const foreign = chosen ?? heading.fields.find(namesForeignUnit);
    if (foreign !== undefined) {
      throw fault(name, heading.line, `the heading "${foreign}" names another unit; give positions in mm`);
    }
    const found = heading.fields.map((field) => `"${field}"`).join(', ');
    throw fault(
      name,
      heading.line,
      `expected a column of positions but received the headings ${found}. Understood are ${understoodHeadings}`,
    );
  }
  const meaning = meanings[position];
  const unit = (meaning?.kind === 'position' ? meaning.unit : undefined) ?? units[position] ?? 'mm';
  // Names of files are no numbers of frames.
  const frame = meanings.findIndex(
    (other, column) =>
      other?.kind === 'frame' && rows.some(({ fields }) => readNumber(fields[column] ?? '') !== undefined),
  );
  const column = meanings.findIndex((other) => other?.kind === 'pitch');
  const pitch = meanings[column];
  return {
    rows: withoutNotes(rows, position),
    position,
    frame: frame < 0 ? undefined : frame,
    pitch: pitch?.kind === 'pitch' ? { column, unit: pitch.unit ?? units[column] ?? 'mm' } : undefined,
    unit,
    isNamed: true,
  };
}

/** The units of a line that holds nothing else, where it is the first; and the lines behind it. */
function unitLine(rows: readonly Row[]): [units: (PositionUnit | undefined)[], rows: Row[]] {
  const [first, ...others] = rows;
  const units = first?.fields.map(unitOfCell) ?? [];
  const isUnits = units.some((unit) => unit !== undefined) && !first.fields.some(isQuantity);
  return isUnits ? [units, others] : [[], [...rows]];
}

/** Of several columns of positions the one in a length goes first, then steps; of equals a measured one, then the first. */
function positionColumn(
  meanings: readonly (ColumnMeaning | undefined)[],
  units: readonly (PositionUnit | undefined)[],
): number | undefined {
  const ranked = meanings.flatMap((meaning, column) => {
    if (meaning?.kind !== 'position') return [];
    const unit = meaning.unit ?? units[column];
    const rank = unit === undefined ? 1 : unit === 'motor step' ? 2 : unit === 'focus step' ? 3 : 0;
    return [{ column, rank: 2 * rank + (meaning.isMeasured ? 0 : 1) }];
  });
  return ranked.sort((one, other) => one.rank - other.rank)[0]?.column;
}

/** Travel of one motor step, mm; undefined where positions are no steps. */
function pitchOf(table: Table, pitchUm: number | undefined, name: string): number | undefined {
  const { pitch, unit, rows } = table;
  if (unit !== 'motor step') {
    if (pitchUm === undefined) return undefined;
    const what = unit === 'focus step' ? 'focus steps of the camera' : 'a length';
    throw new InputError(
      `${name} holds positions in ${what}, not in steps of a motor: leave ${named('pitchUm')} out.`,
    );
  }
  const line = rows[0].line - 1;
  if (!pitch) {
    if (pitchUm !== undefined) return pitchUm / 1000;
    throw fault(
      name,
      line,
      `positions are in steps, whose length it does not say: give ${named('pitchUm')}, the travel for one step, or, where nobody knows it, the file with ${named('relativePositions')}`,
    );
  }
  const cells = new Set(rows.flatMap(({ fields }) => fields[pitch.column] || []));
  const [cell = ''] = cells;
  const pitchMm = readPosition(cell, pitch.unit, undefined);
  if (cells.size !== 1 || pitchMm === undefined || pitchMm <= 0) {
    const found = [...cells].slice(0, 3).map((text) => `"${text}"`);
    throw fault(
      name,
      line,
      `expected one pitch above 0 for all lines but received ${found.join(', ') || 'none'}`,
    );
  }
  if (pitchUm !== undefined && Math.abs(pitchUm / 1000 / pitchMm - 1) > 1e-9) {
    throw fault(name, line, `it gives a pitch of ${cell} itself: leave ${named('pitchUm')} out`);
  }
  return pitchMm;
}

/** Logs of programs count frames from 0, where a column is named. */
function firstFrame({ rows, frame, isNamed }: Table): 0 | 1 {
  const countsFromZero =
    frame !== undefined && rows.some(({ fields }) => readNumber(fields[frame] ?? '') === 0);
  return isNamed && countsFromZero ? 0 : 1;
}

/** The rows before the first that follows an empty line and holds text alone. */
function withoutNotes(rows: Row[], position: number): Row[] {
  const end = rows.findIndex(
    ({ isAfterGap, fields }) =>
      isAfterGap && position > 0 && fields[0] !== '' && fields.slice(1).every((field) => field === ''),
  );
  return end < 0 ? rows : rows.slice(0, end);
}

function isCount(unit: PositionUnit): boolean {
  return unit === 'motor step' || unit === 'focus step';
}

function isQuantity(field: string): boolean {
  return readPosition(field, 'mm', undefined) !== undefined;
}

/** In mm; of focus steps the number itself. */
function readPosition(field: string, unit: PositionUnit, pitchMm: number | undefined): number | undefined {
  if (!isCount(unit)) return readQuantity(/[a-zµμ]\s*$/i.test(field) ? field : `${field}${unit}`, 'mm');
  const count = readNumber(field);
  if (count === undefined || unit === 'focus step') return count;
  return pitchMm === undefined ? count : Number((count * pitchMm).toPrecision(digits));
}

/** What is no table at all may have lines of any length. */
function shortened(cell: string): string {
  return cell.length <= maxShownChars ? cell : `${cell.slice(0, maxShownChars)}...`;
}

function fault(name: string, line: number, what: string): InputError {
  return new InputError(`${name}, line ${line}: ${what}.`);
}

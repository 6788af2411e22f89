import { InputError, named, UsageError } from '../errors.js';
import { readNumber } from '../options/read-number.js';
import { readQuantity } from '../options/read-quantity.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';

/** A table of positions is a few kilobytes; more is some other file. */
const maxBytes = 10_000_000;

/**
 * Rail positions in mm, in capture order, from a text file; see `parsePositions`.
 * Throws InputError when the file cannot be read or a line is wrong.
 */
export async function readPositionsFile(path: string): Promise<number[]> {
  let text: string;
  try {
    text = await readBoundedText(path, maxBytes);
  } catch (error) {
    throw new InputError(`Cannot read the positions file ${path}: ${fileErrorReason(error)}.`, {
      cause: error,
    });
  }
  return parsePositions(text, path);
}

/**
 * Options with the positions of the file that the command line names. A slip in the other options does
 * not wait for the file: they are checked beside positions that stand in.
 *
 * @param resolve Checks options.
 */
export async function withPositions<Given extends { positionsMm?: number[] }>(
  given: Given,
  resolve: (given: Given) => unknown,
): Promise<Given> {
  const path: unknown = given.positionsMm;
  if (typeof path !== 'string') return given;
  resolve({ ...given, positionsMm: [0, 1] });
  return { ...given, positionsMm: await readPositionsFile(path) };
}

/**
 * The error as the user shall read it: a refusal of positions names the file that they were read from, which alone the
 * user can change.
 */
export function nameFileOfPositions(error: unknown, path: unknown): unknown {
  if (typeof path !== 'string' || !(error instanceof UsageError) || error.option !== 'positionsMm')
    return error;
  return new UsageError(`${path}: ${error.messageWith(named)}`, { cause: error });
}

/**
 * Positions from the text of a table: a line holds a position in mm, or the number of a frame and its
 * position. The first line may name the columns; one named `position` is then the one that is read, beside one named
 * `frame` if there is, and all others are passed over, so that the sheet of a plan is understood as it is: notes
 * behind its table, after an empty line, are no part of it. A unit may stand in the heading or behind a number.
 * Fields are parted by a comma, a semicolon or a tab; beside the latter two a decimal comma is understood. Frames may
 * come in any order, but each from 1 to the last exactly once.
 *
 * Throws InputError, '<name>, line <n>: ...'.
 */
export function parsePositions(text: string, name: string): number[] {
  const rows = splitRows(text);
  const table = columnsOf(rows, name);
  const lines = table.isNamed ? withoutNotes(table) : table.rows;
  if (lines.length === 0)
    throw new InputError(`${name} holds no positions: put one position in mm on each line.`);

  const positions: number[] = [];
  const lineOfFrame = new Map<number, number>();
  for (const { line, fields } of lines) {
    const cell = fields[table.position] ?? '';
    const position = readPosition(cell, table.unit);
    if (position === undefined) {
      throw fault(name, line, `expected a position in mm but received "${cell}"`);
    }
    const frame = table.frame === undefined ? lineOfFrame.size + 1 : readNumber(fields[table.frame] ?? '');
    if (frame === undefined || !Number.isInteger(frame) || frame < 1 || frame > lines.length) {
      throw fault(
        name,
        line,
        `expected a frame number from 1 to ${lines.length} but received "${fields[table.frame ?? 0] ?? ''}"`,
      );
    }
    const earlier = lineOfFrame.get(frame);
    if (earlier !== undefined)
      throw fault(name, line, `frame ${frame} has a position in line ${earlier} already`);
    lineOfFrame.set(frame, line);
    positions[frame - 1] = position;
  }
  return positions;
}

interface Row {
  /** Counted from 1, as editors do. */
  line: number;
  fields: string[];
  /** Whether an empty line stands before it. */
  isAfterGap: boolean;
}

interface Table {
  rows: Row[];
  /** Whether the first line names the column of positions. */
  isNamed: boolean;
  /** Columns, from 0. */
  position: number;
  frame: number | undefined;
  /** Of positions without one of their own. */
  unit: string;
}

/** What the columns of a table are: by their names where they have such, else by their number. */
function columnsOf(rows: readonly Row[], name: string): Table {
  const [first, ...others] = rows;
  const columns = first?.fields.length ?? 0;
  const hasHeading =
    first !== undefined && !first.fields.some((field) => readPosition(field, 'mm') !== undefined);
  const named = hasHeading
    ? first.fields.findIndex((field) => /^pos(ition)?([^a-z]|$)/i.test(wordsOf(field)))
    : -1;
  if (named >= 0 && first) {
    const frame = first.fields.findIndex((field) => /^(frame|number|no|nr)([^a-z]|$)/i.test(wordsOf(field)));
    const unit = headingUnit(first, named, name);
    return { rows: others, isNamed: true, position: named, frame: frame < 0 ? undefined : frame, unit };
  }
  if (hasHeading && columns > 2) {
    throw fault(name, first.line, 'expected a column named position, such as position_mm, but received none');
  }
  const data = hasHeading ? others : rows;
  for (const { line, fields } of data) {
    if (fields.length === columns && columns <= 2) continue;
    const wanted =
      columns === 2 ? 'a frame number and a position' : 'one position, or a frame number and a position';
    throw fault(name, line, `expected ${wanted} but received ${fields.length} fields`);
  }
  const position = Math.max(0, columns - 1);
  const unit = hasHeading ? headingUnit(first, position, name) : 'mm';
  return { rows: [...data], isNamed: false, position, frame: columns === 2 ? 0 : undefined, unit };
}

/** The rows before the first that follows an empty line and holds text alone. */
function withoutNotes({ rows, position }: Table): Row[] {
  const end = rows.findIndex(
    ({ isAfterGap, fields }) =>
      isAfterGap && position > 0 && fields[0] !== '' && fields.slice(1).every((field) => field === ''),
  );
  return end < 0 ? rows : rows.slice(0, end);
}

/** `positionMm` and `position_mm` as words. */
function wordsOf(heading: string): string {
  return heading.replace(/([a-z])([A-Z])/g, '$1 $2').replaceAll('_', ' ');
}

function headingUnit({ line, fields }: Row, column: number, name: string): string {
  const words = wordsOf(fields[column]).split(/[^a-zµμ]+/i);
  const unit = words.findLast((word) => /^(nm|um|µm|μm|microns?|mm|cm|m)$/i.test(word));
  if (words.some((word) => /^(inch|inches|feet|ft)$/i.test(word))) {
    throw fault(name, line, `the heading "${fields[column]}" names another unit; give positions in mm`);
  }
  return unit ?? 'mm';
}

function readPosition(field: string, unit: string): number | undefined {
  return readQuantity(/[a-zµμ]\s*$/i.test(field) ? field : `${field}${unit}`, 'mm');
}

function splitRows(text: string): Row[] {
  const lines = text.replace(/^\uFEFF/, '').split(/\r\n|\n|\r/);
  // By the first line alone: notes may hold any mark.
  const first = lines.find((line) => line.trim() !== '') ?? '';
  const separator = [';', '\t'].find((mark) => first.includes(mark)) ?? ',';
  const rows: Row[] = [];
  let isAfterGap = false;
  for (const [i, content] of lines.entries()) {
    const fields = fieldsOf(content, separator);
    const isEmpty = fields.every((field) => field === '');
    if (!isEmpty) rows.push({ line: i + 1, fields, isAfterGap });
    isAfterGap = isEmpty;
  }
  return rows;
}

/** The fields of a line; a mark within quotes parts nothing. */
function fieldsOf(content: string, separator: string): string[] {
  const fields: string[] = [];
  let field = '';
  let isQuoted = false;
  for (const letter of content) {
    if (letter === '"') isQuoted = !isQuoted;
    if (letter === separator && !isQuoted) {
      fields.push(field);
      field = '';
    } else {
      field += letter;
    }
  }
  return [...fields, field].map((whole) => {
    const bare = whole
      .trim()
      .replace(/^"(.*)"$/, '$1')
      .trim();
    return separator === ',' ? bare : bare.replace(/^([+-]?\d*),(\d+\s*[a-zµμ]*)$/i, '$1.$2');
  });
}

function fault(name: string, line: number, what: string): InputError {
  return new InputError(`${name}, line ${line}: ${what}.`);
}

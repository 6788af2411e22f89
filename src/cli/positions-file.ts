import { InputError } from '../errors.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import { readNumber } from './read-number.js';

/** A table of positions is a few kilobytes; more is some other file. */
const maxBytes = 10_000_000;

const otherUnit = /(^|[^a-z])(um|µm|μm|microns?|cm|inch|inches)([^a-z]|$)/i;

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
 * Positions from the text of a table: a line holds a position in mm, or the number of a frame and its
 * position. Fields are parted by a comma, a semicolon or a tab; beside the latter two a decimal comma is
 * understood. Empty lines are passed over, and the first line may name the columns. Frames may come in
 * any order, but each from 1 to the last exactly once.
 *
 * Throws InputError, '<name>, line <n>: ...'.
 */
export function parsePositions(text: string, name: string): number[] {
  const rows = splitRows(text);
  const columns = rows[0]?.fields.length ?? 0;
  if (rows[0] && !rows[0].fields.some((field) => readNumber(field) !== undefined)) {
    const heading = rows.shift();
    if (heading && otherUnit.test(heading.fields.at(-1) ?? '')) {
      throw fault(
        name,
        heading.line,
        `the heading "${heading.fields.at(-1)}" names another unit; give positions in mm`,
      );
    }
  }
  if (rows.length === 0)
    throw new InputError(`${name} holds no positions: put one position in mm on each line.`);

  const positions: number[] = [];
  const lineOfFrame = new Map<number, number>();
  for (const { line, fields } of rows) {
    if (fields.length !== columns || columns > 2) {
      const wanted =
        columns === 2 ? 'a frame number and a position' : 'one position, or a frame number and a position';
      throw fault(name, line, `expected ${wanted} but received ${fields.length} fields`);
    }
    const position = readNumber(fields[columns - 1]);
    if (position === undefined) {
      throw fault(name, line, `expected a position in mm but received "${fields[columns - 1]}"`);
    }
    const frame = columns === 2 ? readNumber(fields[0]) : lineOfFrame.size + 1;
    if (frame === undefined || !Number.isInteger(frame) || frame < 1 || frame > rows.length) {
      throw fault(name, line, `expected a frame number from 1 to ${rows.length} but received "${fields[0]}"`);
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
}

function splitRows(text: string): Row[] {
  const lines = text.replace(/^\uFEFF/, '').split(/\r\n|\n|\r/);
  const separator = [';', '\t'].find((mark) => text.includes(mark)) ?? ',';
  const rows = lines.map((content, i) => ({
    line: i + 1,
    fields: content.split(separator).map((field) => {
      const bare = field
        .trim()
        .replace(/^"(.*)"$/, '$1')
        .trim();
      return separator === ',' ? bare : bare.replace(/^([+-]?\d*),(\d+)$/, '$1.$2');
    }),
  }));
  return rows.filter((row) => row.fields.some((field) => field !== ''));
}

function fault(name: string, line: number, what: string): InputError {
  return new InputError(`${name}, line ${line}: ${what}.`);
}

import { join } from 'node:path';
import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import { systemCode } from './output-failure.js';
import { writeAside } from './output-file.js';
import { objectShape, oneOfShape, type Shape, wholeShape } from './shape.js';

/** What people made of a result and what is kept beside it: every such file begins with these. */
export interface KeptRecord {
  schema: string;
  version: number;
  /** Size of the composite that points and regions refer to. */
  size: Size;
}

/** A JSON file that is kept with a result, such as mends.json. */
export interface KeptFile<R extends KeptRecord> {
  name: string;
  schema: R['schema'];
  version: R['version'];
  maxBytes: number;
  shape: Shape<R>;
  /** What to do about a damaged one, as a sentence. */
  remedy: string;
  /** Further checks. Throws InputError. */
  check?(record: R, path: string): void;
}

/**
 * What the file in a result folder holds; undefined when there is none.
 *
 * @param size Of the composite.
 * @throws InputError when the file is damaged, of a newer program, or made for a picture of another size.
 */
export async function readKept<R extends KeptRecord>(
  file: KeptFile<R>,
  folder: string,
  size: Size,
): Promise<R | undefined> {
  const path = join(folder, file.name);
  let text: string;
  try {
    text = await readBoundedText(path, file.maxBytes);
  } catch (error) {
    if (systemCode(error) === 'ENOENT') return undefined;
    throw new InputError(`Cannot read ${path}: ${fileErrorReason(error)}.`, { cause: error });
  }
  let parsed: unknown;
  try {
    parsed = JSON.parse(text);
  } catch (error) {
    throw new InputError(`${path} is damaged: it is no JSON. ${file.remedy}`, { cause: error });
  }
  const record = checkKept(file, parsed, path);
  if (record.size.width !== size.width || record.size.height !== size.height) {
    throw new InputError(
      `${path} was made for a picture of ${record.size.width} x ${record.size.height} pixels, but this one has ${size.width} x ${size.height}. Remove it to start anew.`,
    );
  }
  return record;
}

/** Writes the file into a folder, aside and renamed. */
export async function writeKept<R extends KeptRecord>(
  file: KeptFile<R>,
  folder: string,
  record: R,
): Promise<void> {
  const path = join(folder, file.name);
  const text = `${JSON.stringify(record, null, 2)}\n`;
  checkKept(file, JSON.parse(text), path);
  await writeAside(path, text);
}

function checkKept<R extends KeptRecord>(file: KeptFile<R>, parsed: unknown, path: string): R {
  const headShape = objectShape<{ schema: string; version: number }>({
    schema: oneOfShape(file.schema),
    version: wholeShape(1),
  });
  const head = headShape(parsed, '');
  if (!head && (parsed as KeptRecord).version > file.version) {
    throw new InputError(
      `${path} has version ${(parsed as KeptRecord).version} but this program reads versions up to ${file.version}. Use a newer Lamella.`,
    );
  }
  const fault = head ?? file.shape(parsed, '');
  if (fault) {
    const shown = fault.received === undefined ? 'nothing' : JSON.stringify(fault.received).slice(0, 60);
    throw new InputError(
      `${path} is damaged: Expected ${fault.expected} for ${fault.field || 'the whole'} but received ${shown}. ${file.remedy}`,
    );
  }
  const record = parsed as R;
  file.check?.(record, path);
  return record;
}

import { type FileHandle, open } from 'node:fs/promises';
import { join } from 'node:path';
import { named, OutputError } from '../errors.js';
import { asOutputError, systemCode } from '../result/output-failure.js';
import { syncFolder } from '../result/unfinished.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import { type NightEvent, nightListName } from './night-events.js';
import { readEvent } from './night-shapes.js';

/** Longer ones, of tens of thousands of stacks, would not fit into a text. */
const maxListBytes = 500e6;

/**
 * The night list: the journal of a batch, one JSON event a line. Lines are only ever added, and each is on the disk
 * before the batch goes on.
 */
export class NightList {
  private constructor(
    private readonly path: string,
    private readonly handle: FileHandle,
    /** True when the last line may be half a line. */
    private torn: boolean,
  ) {}

  /** Opens the list of a batch folder, which is made when there is none. Throws OutputError. */
  static async open(out: string): Promise<NightList> {
    const path = join(out, nightListName);
    try {
      const handle = await open(path, 'a+');
      const { size } = await handle.stat();
      const last = Buffer.alloc(1);
      if (size > 0) await handle.read(last, 0, 1, size - 1);
      await syncFolder(out);
      return new NightList(path, handle, size > 0 && last[0] !== 0x0a);
    } catch (error) {
      throw asOutputError(error, path);
    }
  }

  /** Adds an event and waits until the disk holds it. Throws OutputError. */
  async add(event: NightEvent): Promise<void> {
    // A line that a crash cut short stays as it is: readers pass over it.
    const line = Buffer.from(`${this.torn ? '\n' : ''}${JSON.stringify(event)}\n`);
    try {
      this.torn = true;
      let done = 0;
      while (done < line.length) done += (await this.handle.write(line, done)).bytesWritten;
      await this.handle.datasync();
      this.torn = false;
    } catch (error) {
      throw asOutputError(error, this.path);
    }
  }

  async close(): Promise<void> {
    await this.handle.close().catch(() => undefined);
  }
}

/**
 * The events of a batch folder, oldest first; undefined when it has no list. Lines that cannot be read, the torn
 * last one above all, are passed over: what they said is done again.
 */
export async function readNightList(out: string): Promise<NightEvent[] | undefined> {
  const path = join(out, nightListName);
  let text: string;
  try {
    text = await readBoundedText(path, maxListBytes);
  } catch (error) {
    if (systemCode(error) === 'ENOENT' || systemCode(error) === 'ENOTDIR') return undefined;
    throw new OutputError(
      `Cannot read ${path}: ${fileErrorReason(error)}. Move it away, or choose another place with ${named('out')}.`,
      { cause: error },
    );
  }
  return text.split('\n').flatMap((line) => {
    try {
      return readEvent(JSON.parse(line)) ?? [];
    } catch {
      return [];
    }
  });
}

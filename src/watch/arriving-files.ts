import { readdir, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { InputError } from '../errors.js';
import { fileErrorReason } from '../stack/file-error.js';
import { isLeftover } from '../stack/file-kind.js';
import { fileMarkOf } from '../stack/frame-identity.js';
import { compareNames } from '../stack/natural-order.js';

/** A file that has not changed for this long is tried. */
const settleMs = 200;
/** A file that cannot be read, and has not changed for this long, is given up; it is tried again when it changes. */
const giveUpMs = 4000;
/** How long a file waits for others that come before it by name and are still arriving. */
const holdMs = 3000;

/** Files of which nothing is expected any more that are looked at anew each time, in turn. */
const settledAtOnce = 25;

/** What changed in a folder from one look to the next. */
export interface FolderChanges {
  /** Names that are there, but whose content is still arriving. */
  arriving: string[];
  /** Files that are whole as far as their size and times show, in the order of their names. */
  ready: string[];
  /** Names that are gone, of frames and others; before the renamed ones, which may have their names now. */
  gone: string[];
  /** Frames that have other names now, all at once: two may have changed names with each other. */
  renamed: { from: string; to: string }[];
  /** Frames of which the file system noted a change that left their content as it was, as of rights or links. */
  touched: string[];
  /** Files that were taken and have other content now: they are among the ready ones again once they are whole. */
  replaced: string[];
}

type State =
  /** Content may still arrive. */
  | 'arriving'
  /** It was tried, and could not be read as it was. */
  | 'doubtful'
  /** It is a frame, or nothing that is waited for. */
  | 'settled';

interface KnownFile {
  /** Tells one content from another, whatever the name of the file; and one state of the file from another. */
  content: string;
  mark: string;
  state: State;
  isEmpty: boolean;
  /** Since when it has been there, and since when it has not changed. */
  firstMs: number;
  sinceMs: number;
  /** The last look at which it was not there, or not as it is now; of what lay there at first that look. */
  notBeforeMs: number;
  /** When it was changed last, by the file system. */
  modifiedMs: number;
  /** Whether it was taken as a frame. */
  isTaken: boolean;
  isAnnounced: boolean;
}

type Seen = Pick<KnownFile, 'content' | 'mark' | 'modifiedMs' | 'isEmpty'>;

/**
 * The files of a folder into which photographs arrive: by a tether, from a card, through a sync folder. It is looked at
 * again and again, because network drives report no changes. Names may be there before their content is whole, files
 * may be renamed, replaced and deleted; a file that was taken is not ready again unless its content changed.
 */
export class ArrivingFiles {
  private readonly files = new Map<string, KnownFile>();
  /** The settled file that is looked at next. */
  private turn = 0;
  private lastLookMs: number | undefined;

  constructor(private readonly folder: string) {}

  /**
   * Looks at the folder.
   *
   * @param nowMs Milliseconds since 1970, as those of files.
   * @param isThorough Looks at every file, not at the settled ones in turn.
   * @throws InputError when the folder cannot be read.
   */
  async look(nowMs: number, isThorough = false): Promise<FolderChanges> {
    const found = await this.list(isThorough);
    const changes: FolderChanges = {
      ...{ arriving: [], ready: [], gone: [], renamed: [], touched: [], replaced: [] },
    };
    const notBeforeMs = this.lastLookMs ?? nowMs;
    this.lastLookMs = nowMs;
    this.follow(this.movedFiles(found), found, changes);
    for (const [name, seen] of found) {
      const { content, mark, modifiedMs } = seen;
      const known = this.files.get(name);
      if (!known) {
        // What has lain there for a while was not written just now.
        const sinceMs = Math.min(nowMs, modifiedMs > 0 ? modifiedMs : nowMs);
        const state = { state: 'arriving', isTaken: false, isAnnounced: false } as const;
        this.files.set(name, { ...seen, firstMs: nowMs, sinceMs, notBeforeMs, ...state });
      } else if (known.mark !== mark) {
        // Another time of its status alone, as after a change of rights, is no other content.
        const isSame = known.content === content;
        if (known.isTaken) (isSame ? changes.touched : changes.replaced).push(name);
        this.files.set(name, {
          ...seen,
          ...(isSame
            ? { state: known.state, sinceMs: known.sinceMs, notBeforeMs: known.notBeforeMs }
            : { state: 'arriving' as const, sinceMs: nowMs, notBeforeMs }),
          firstMs: known.isTaken ? nowMs : known.firstMs,
          isTaken: known.isTaken && isSame,
          isAnnounced: known.isAnnounced,
        });
      }
    }
    this.sort(changes, nowMs);
    return changes;
  }

  /**
   * Names of all files in the folder.
   *
   * @throws InputError as `look`.
   */
  async names(): Promise<string[]> {
    return [...(await this.list()).keys()];
  }

  /** Says what became of a file that was ready. */
  note(name: string, outcome: 'taken' | 'passed over' | 'not whole'): void {
    const file = this.files.get(name);
    if (!file) return;
    file.state = outcome === 'not whole' ? 'doubtful' : 'settled';
    file.isTaken = outcome === 'taken';
  }

  /**
   * Since when a file has been as it is, milliseconds since 1970: by the file system, but neither after it was seen so nor
   * before the last look at which it was not, for a copy may have the times of its original.
   */
  restedSince(name: string): number {
    const file = this.files.get(name);
    return file ? Math.max(file.sinceMs, file.notBeforeMs) : Number.NaN;
  }

  /** Whether a file that is not whole is given up, since it has not changed for long. */
  isGivenUp(name: string, nowMs: number): boolean {
    const file = this.files.get(name);
    return file !== undefined && unchangedMs(file, nowMs) >= giveUpMs;
  }

  /** The names that taken files have now, by those that they had. */
  private movedFiles(found: ReadonlyMap<string, Seen>): Map<string, string> {
    const before = new Map<string, string>();
    for (const [name, { content, isTaken }] of this.files) if (isTaken) before.set(content, name);
    const moved = new Map<string, string>();
    for (const [to, { content }] of found) {
      const from = before.get(content);
      if (from !== undefined && found.get(from)?.content !== content && !moved.has(from)) moved.set(from, to);
    }
    return moved;
  }

  /** Brings what is known to the names that files have now. */
  private follow(
    moved: ReadonlyMap<string, string>,
    found: ReadonlyMap<string, Seen>,
    changes: FolderChanges,
  ): void {
    const movedFiles = [...moved].map(([from, to]) => {
      return [to, { ...this.files.get(from)!, ...found.get(to)! }] as const;
    });
    const newNames = new Set(moved.values());
    for (const name of [...this.files.keys()]) {
      const to = moved.get(name);
      if (to !== undefined) changes.renamed.push({ from: name, to });
      else if (!found.has(name) || newNames.has(name)) changes.gone.push(name);
      else continue;
      this.files.delete(name);
    }
    for (const [to, file] of movedFiles) this.files.set(to, file);
  }

  private sort(changes: FolderChanges, nowMs: number): void {
    const names = [...this.files.keys()].sort(compareNames);
    let isHeld = false;
    for (const name of names) {
      const file = this.files.get(name)!;
      if (file.state === 'settled') continue;
      const isDue =
        file.state === 'doubtful' || file.isEmpty
          ? unchangedMs(file, nowMs) >= giveUpMs
          : nowMs - file.sinceMs >= settleMs;
      if (isDue && !isHeld) {
        changes.ready.push(name);
        continue;
      }
      if (!file.isAnnounced) changes.arriving.push(name);
      file.isAnnounced = true;
      isHeld ||= !isDue && nowMs - file.firstMs < holdMs;
    }
  }

  private async list(isThorough = false): Promise<Map<string, Seen>> {
    const found = new Map<string, Seen>();
    let names: string[];
    try {
      const entries = await readdir(this.folder, { withFileTypes: true });
      names = entries.filter((entry) => !entry.isDirectory()).map(({ name }) => name);
    } catch (error) {
      throw new InputError(`The folder "${this.folder}" cannot be read: ${fileErrorReason(error)}.`, {
        cause: error,
      });
    }
    const wanted = names.filter((one) => !one.startsWith('.') && !isLeftover(one)).sort();
    const settled = wanted.filter((name) => this.files.get(name)?.state === 'settled');
    const first = settled.length > 0 ? this.turn % settled.length : 0;
    const there = new Set(wanted);
    // A name that is gone may have been given to any of the others.
    const isAll = isThorough || [...this.files.keys()].some((name) => !there.has(name));
    const count = isAll ? settled.length : settledAtOnce;
    const inTurn = new Set([...settled.slice(first), ...settled.slice(0, first)].slice(0, count));
    this.turn = first + settledAtOnce;
    for (const name of wanted) {
      const known = this.files.get(name);
      if (known?.state === 'settled' && !inTurn.has(name)) {
        found.set(name, known);
        continue;
      }
      try {
        const stats = await stat(join(this.folder, name), { bigint: true });
        if (!stats.isFile()) continue;
        found.set(name, {
          content: [stats.dev, stats.ino, stats.size, stats.mtimeNs].join(' '),
          mark: fileMarkOf(stats),
          modifiedMs: Number(stats.mtimeNs) / 1e6,
          isEmpty: stats.size === 0n,
        });
      } catch {
        // It vanished between the two calls.
      }
    }
    // What has other content now may have changed names with one that was not looked at.
    const isOther = settled.some((name) => found.get(name)?.content !== this.files.get(name)?.content);
    return isOther && count < settled.length ? this.list(true) : found;
  }
}

/** How long a file has been seen not to change: what it says of its age may be that of its original. */
function unchangedMs({ firstMs, sinceMs }: KnownFile, nowMs: number): number {
  return nowMs - Math.max(firstMs, sinceMs);
}

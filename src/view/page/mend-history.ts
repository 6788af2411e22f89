import type { PageMend } from '../protocol.js';

/** Lists of mends one after the other, with a position among them: undo goes back, redo forth. */
export class MendHistory {
  private readonly states: PageMend[][];
  private at: number;
  private savedAt: number;

  /** Begins with mends that are saved; undo goes back over them one by one. */
  constructor(mends: readonly PageMend[]) {
    this.states = [...mends.map((_, count) => mends.slice(0, count)), [...mends]];
    this.at = mends.length;
    this.savedAt = mends.length;
  }

  get mends(): readonly PageMend[] {
    return this.states[this.at];
  }

  get canUndo(): boolean {
    return this.at > 0;
  }

  get canRedo(): boolean {
    return this.at < this.states.length - 1;
  }

  /** True when the list differs from the one that was saved last. */
  get isChanged(): boolean {
    return this.at !== this.savedAt;
  }

  /** A new state; what had been undone is forgotten. */
  push(mends: readonly PageMend[]): void {
    this.states.length = this.at + 1;
    this.states.push([...mends]);
    this.at++;
    // The saved state may be among those forgotten: then nothing here equals it.
    if (this.savedAt >= this.at) this.savedAt = -1;
  }

  /** Replaces the present state, for changes too small to be undone one by one. */
  replace(mends: readonly PageMend[]): void {
    if (this.at === this.savedAt) this.push(mends);
    else this.states[this.at] = [...mends];
  }

  undo(): void {
    if (this.canUndo) this.at--;
  }

  redo(): void {
    if (this.canRedo) this.at++;
  }

  /** Takes the present state away as though it had never been. What had been undone before it is forgotten all the same. */
  withdraw(): void {
    if (!this.canUndo) return;
    this.states.length = this.at;
    this.at--;
  }

  markSaved(): void {
    this.savedAt = this.at;
  }

  nextId(): number {
    return this.states.flat().reduce((max, { id }) => Math.max(max, id), 0) + 1;
  }
}

import type { PageMend, ResultInfo } from '../protocol.js';
import { AbandonedError, api, RefusedError } from './api.js';
import { MendHistory } from './mend-history.js';

/** What a session tells. */
export interface SessionHost {
  info(): ResultInfo;
  notify(message: string): void;
  /** Shows the composite with the mends of a key. */
  showMends(key: string): void;
  /** After saving: the result as it is now. */
  saved(info: ResultInfo): void;
  /** The list, or what can be done with it, has changed. */
  changed(): void;
}

/** What takes longer to blend says so. */
const slowMs = 400;

/** The mends of a page: their list with undo and redo, how they look, and how they are saved. */
export class MendSession {
  private history: MendHistory;
  /** How the last step went, in words. */
  private outcome = '';
  private isBusyNow = false;
  /** The preview that is under way. */
  private previewing: AbortController | undefined;
  /** States pushed since the last one that the server showed. */
  private unproven = 0;
  /** The list on the disk, as far as the page knows. */
  private saved: readonly PageMend[];
  /** The list is saved, but was taken out of the picture by `lamella mend --undo`: saving puts it back. */
  private isWaiting: boolean;

  constructor(private readonly host: SessionHost) {
    const { mends, applied } = host.info();
    this.isWaiting = mends.some(({ id, kept }) => kept && !applied.includes(id));
    this.history = new MendHistory(mends);
    this.saved = mends;
    addEventListener('beforeunload', (event) => {
      if (this.history.isChanged) event.preventDefault();
    });
  }

  get mends(): readonly PageMend[] {
    return this.history.mends;
  }

  get canUndo(): boolean {
    return this.history.canUndo && !this.isBusyNow;
  }

  get canRedo(): boolean {
    return this.history.canRedo && !this.isBusyNow;
  }

  get canSave(): boolean {
    return (this.history.isChanged || this.isWaiting) && !this.isBusyNow;
  }

  get state(): string {
    const unsaved = this.history.isChanged ? 'Not saved yet.' : '';
    return this.outcome || unsaved || (this.isWaiting ? 'Not in the saved picture.' : '');
  }

  /** Adds a mend; its id. */
  add(mend: Omit<PageMend, 'id'>): number {
    const id = this.history.nextId();
    this.push([...this.mends, { id, ...mend }]);
    return id;
  }

  change(id: number, fields: Partial<PageMend>): void {
    this.push(this.mends.map((mend) => (mend.id === id ? { ...mend, ...fields } : mend)));
  }

  /** Too small a change to be undone by itself, and nothing of the picture. */
  note(id: number, note: string): void {
    this.history.replace(this.mends.map((mend) => (mend.id === id ? { ...mend, note } : mend)));
    this.outcome = '';
  }

  undo(): void {
    if (!this.history.canUndo) return;
    this.history.undo();
    this.unproven = 0;
    void this.preview();
  }

  redo(): void {
    if (!this.history.canRedo) return;
    this.history.redo();
    this.unproven = 0;
    void this.preview();
  }

  private push(mends: readonly PageMend[]): void {
    this.history.push(mends);
    this.unproven++;
    void this.preview();
  }

  /** Has the list blended for the eye. */
  async preview(): Promise<void> {
    // What was asked for before is not wanted any more: the server gives it up.
    this.previewing?.abort();
    const own = new AbortController();
    this.previewing = own;
    this.isBusyNow = true;
    this.host.changed();
    const slow = setTimeout(() => {
      this.outcome = 'Blending ...';
      this.host.changed();
    }, slowMs);
    try {
      const { key, tookMs } = await api.preview(this.mends, own.signal);
      this.unproven = 0;
      this.outcome = tookMs > 0 ? `Blended in ${tookMs} ms.` : '';
      this.host.showMends(key);
    } catch (error) {
      if (error instanceof AbandonedError) return;
      this.outcome = '';
      this.showError(error);
      if (this.unproven > 0) {
        // Refused: it was never done, so there is nothing to redo either.
        this.unproven--;
        this.history.withdraw();
        return this.preview();
      }
    } finally {
      clearTimeout(slow);
    }
    this.isBusyNow = false;
    this.host.changed();
  }

  /** Saves the list, and has it applied at full size. */
  async save(): Promise<void> {
    if (!this.canSave) return;
    this.isBusyNow = true;
    this.outcome = 'Saving at full size ...';
    this.host.changed();
    try {
      const own = this.mends;
      const info = await api.save(own, this.saved);
      this.saved = info.mends;
      this.isWaiting = false;
      const isJoined = JSON.stringify(own) !== JSON.stringify(info.mends);
      if (isJoined) this.history = new MendHistory(info.mends);
      else this.history.markSaved();
      this.host.saved(info);
      if (isJoined) await this.preview();
      this.outcome = isJoined
        ? 'Saved. The list holds mends that were saved elsewhere meanwhile, too.'
        : 'Saved.';
    } catch (error) {
      this.outcome = '';
      this.showError(error);
    }
    this.isBusyNow = false;
    this.host.changed();
  }

  private showError(error: unknown): void {
    if (error instanceof RefusedError) this.host.notify(error.message);
    else throw error;
  }
}

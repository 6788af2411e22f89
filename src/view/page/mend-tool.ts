import type { Candidates, PageMend, ResultInfo } from '../protocol.js';
import { api, RefusedError } from './api.js';
import { type Camera, toScreen } from './camera.js';
import { make } from './dom.js';
import { ring, strokeTwice, type ToolHost } from './line-tools.js';
import { MendHistory } from './mend-history.js';
import { cornersOf, cropCards, frameSelect, keyButton, mendItem } from './mend-parts.js';
import { type Corner, clampOutline, simplifyOutline } from './outline.js';
import type { Tool } from './tool.js';

export interface MendHost extends ToolHost {
  /** Shows the composite with the mends of a key. */
  showMends(key: string): void;
  /** After saving: the result as it is now. */
  saved(info: ResultInfo): void;
  /** Brings a region into sight. */
  lookAt(x: number, y: number): void;
}

/** Screen pixels by which a drawn line may be straightened. */
const straighten = 0.7;

/** Outlines a region, offers the frames that are sharp there, and keeps the list of mends. */
export class MendTool implements Tool {
  readonly name = 'mend';
  private history: MendHistory;
  private bench: HTMLElement | undefined;
  private outline: Corner[] = [];
  private isDrawing = false;
  private isClosed = false;
  private candidates: Candidates | undefined;
  /** The mend that the outline at hand became: another choice of frame changes it instead of adding one. */
  private currentId: number | undefined;
  private featherPx: number;
  private timing = '';
  private isBusy = false;
  private turn = 0;
  private isPressed = false;
  private isStale = false;
  /** The list on the disk, as far as the page knows. */
  private saved: readonly PageMend[];
  /** The list is saved, but was taken out of the picture by `lamella mend --undo`: saving puts it back. */
  private isWaiting: boolean;

  constructor(private readonly host: MendHost) {
    const { mends, applied, defaultFeatherPx } = host.info();
    this.isWaiting = mends.some(({ id, kept }) => kept && !applied.includes(id));
    this.history = new MendHistory(mends);
    this.saved = mends;
    this.featherPx = defaultFeatherPx;
    if (mends.some(({ kept }) => kept)) void this.preview();
    addEventListener('beforeunload', (event) => {
      if (this.history.isChanged) event.preventDefault();
    });
  }

  open(bench: HTMLElement): void {
    this.bench = bench;
    bench.addEventListener('pointerdown', this.onPress);
    this.render();
  }

  close(): void {
    this.bench?.removeEventListener('pointerdown', this.onPress);
    this.bench = undefined;
  }

  private readonly onPress = (): void => {
    this.isPressed = true;
    const onRelease = (): void => {
      // The click comes after the release.
      setTimeout(() => {
        this.isPressed = false;
        if (this.isStale) this.render();
      });
    };
    addEventListener('pointerup', onRelease, { once: true });
    addEventListener('pointercancel', onRelease, { once: true });
  };

  press(x: number, y: number): boolean {
    this.startOutline([x, y]);
    this.isDrawing = true;
    return true;
  }

  drag(x: number, y: number): void {
    if (this.isDrawing) this.outline.push([x, y]);
  }

  release(): void {
    if (!this.isDrawing) return;
    this.isDrawing = false;
    this.finishOutline();
  }

  set(x: number, y: number): void {
    if (this.isClosed) this.startOutline([x, y]);
    else this.outline.push([x, y]);
    this.render();
  }

  key(key: string): boolean {
    if (key === 'Escape') this.clearOutline();
    else if (key === 'Backspace' && !this.isClosed) this.outline.pop();
    else if (key === 'c' || key === 'C') this.finishOutline();
    else return false;
    this.render();
    return true;
  }

  draw(context: CanvasRenderingContext2D, camera: Camera): void {
    for (const mend of this.history.mends) {
      if (mend.id !== this.currentId && mend.kept) this.trace(context, camera, mend.region, '#c9c9c9', true);
    }
    if (this.outline.length === 0) return;
    this.trace(context, camera, { kind: 'polygon', points: this.outline }, '#ffc857', this.isClosed);
    if (!this.isDrawing && !this.isClosed) {
      for (const [x, y] of this.outline) {
        strokeTwice(context, () => ring(context, ...toScreen(camera, x, y), 4), '#ffc857');
      }
    }
  }

  /** True when Ctrl with this key is one of the tool's. */
  command(key: string, isShift: boolean): boolean {
    if (key === 'z' && !isShift) this.undo();
    else if (key === 'y' || (key === 'z' && isShift)) this.redo();
    else if (key === 's') void this.save();
    else return false;
    return true;
  }

  private trace(
    context: CanvasRenderingContext2D,
    camera: Camera,
    region: PageMend['region'],
    colour: string,
    isClosed: boolean,
  ): void {
    strokeTwice(
      context,
      () => {
        cornersOf(region).forEach(([x, y], i) => {
          const [sx, sy] = toScreen(camera, x, y);
          if (i === 0) context.moveTo(sx, sy);
          else context.lineTo(sx, sy);
        });
        if (isClosed) context.closePath();
      },
      colour,
    );
  }

  private startOutline(point: Corner): void {
    this.clearOutline();
    this.outline = [point];
  }

  private clearOutline(): void {
    this.outline = [];
    this.isClosed = false;
    this.isDrawing = false;
    this.candidates = undefined;
    this.currentId = undefined;
  }

  private finishOutline(): void {
    const { width, height } = this.host.info().size;
    const corners = clampOutline(simplifyOutline(this.outline, straighten), width, height);
    const xs = corners.map(([x]) => x);
    const ys = corners.map(([, y]) => y);
    const isTooSmall =
      corners.length < 3 || Math.max(...xs) - Math.min(...xs) < 2 || Math.max(...ys) - Math.min(...ys) < 2;
    if (isTooSmall) {
      this.clearOutline();
      this.render();
      return;
    }
    this.outline = corners;
    this.isClosed = true;
    void this.loadCandidates();
  }

  private async loadCandidates(): Promise<void> {
    const turn = ++this.turn;
    try {
      const candidates = await api.candidates(this.mendOf(0, 1));
      if (turn !== this.turn || !this.isClosed) return;
      this.candidates = candidates;
      this.render();
    } catch (error) {
      this.tell(error);
    }
  }

  private mendOf(frame: number, id: number): PageMend {
    const region = { kind: 'polygon' as const, points: this.outline };
    return { id, frame, region, featherPx: this.featherPx, note: '', kept: true };
  }

  private choose(frame: number): void {
    if (this.currentId === undefined) {
      const id = this.history.nextId();
      this.history.push([...this.history.mends, this.mendOf(frame, id)]);
      this.currentId = id;
    } else {
      this.change(this.currentId, { frame });
    }
    void this.preview();
  }

  private change(id: number, fields: Partial<PageMend>): void {
    this.history.push(this.history.mends.map((mend) => (mend.id === id ? { ...mend, ...fields } : mend)));
  }

  private undo(): void {
    this.history.undo();
    this.afterStep();
  }

  private redo(): void {
    this.history.redo();
    this.afterStep();
  }

  private afterStep(): void {
    if (!this.history.mends.some(({ id }) => id === this.currentId)) this.currentId = undefined;
    void this.preview();
  }

  private async preview(): Promise<void> {
    const turn = ++this.turn;
    this.isBusy = true;
    this.render();
    try {
      const { key, tookMs } = await api.preview(this.history.mends);
      if (turn === this.turn) {
        this.timing = tookMs > 0 ? `Blended in ${tookMs} ms.` : '';
        this.host.showMends(key);
      }
    } catch (error) {
      this.tell(error);
      this.history.undo();
    }
    if (turn === this.turn) this.isBusy = false;
    this.render();
  }

  private async save(): Promise<void> {
    if (this.isBusy || !(this.history.isChanged || this.isWaiting)) return;
    this.isBusy = true;
    this.timing = 'Saving at full size ...';
    this.render();
    try {
      const own = this.history.mends;
      const info = await api.save(own, this.saved);
      this.saved = info.mends;
      this.isWaiting = false;
      const isJoined = JSON.stringify(own) !== JSON.stringify(info.mends);
      if (isJoined) this.history = new MendHistory(info.mends);
      else this.history.markSaved();
      this.clearOutline();
      this.host.saved(info);
      if (isJoined) await this.preview();
      this.timing = isJoined
        ? 'Saved. The list holds mends that were saved elsewhere meanwhile, too.'
        : 'Saved.';
    } catch (error) {
      this.timing = '';
      this.tell(error);
    }
    this.isBusy = false;
    this.render();
  }

  private tell(error: unknown): void {
    if (error instanceof RefusedError) this.host.say(error.message);
    else throw error;
  }

  private render(): void {
    this.host.redraw();
    const { bench } = this;
    if (!bench) return;
    this.isStale = this.isPressed;
    // A button that is replaced between press and release would never be clicked.
    if (this.isPressed) return;
    // Filling anew would take the focus away from whoever uses keys.
    const focused = document.activeElement?.getAttribute('data-key');
    bench.replaceChildren(
      make(
        'div',
        { class: 'mend-grid' },
        make('div', {}, ...this.choicePart()),
        make('div', {}, ...this.listPart()),
      ),
    );
    this.refresh();
    if (focused) bench.querySelector<HTMLElement>(`[data-key="${focused}"]`)?.focus();
  }

  /** Which buttons can be pressed, and the state in words, without filling the bench anew. */
  private refresh(): void {
    const { history, bench, isBusy } = this;
    const isOff: Record<string, boolean> = {
      undo: !history.canUndo || isBusy,
      redo: !history.canRedo || isBusy,
      save: !(history.isChanged || this.isWaiting) || isBusy,
    };
    for (const [key, value] of Object.entries(isOff)) {
      const button = bench?.querySelector<HTMLButtonElement>(`[data-key="${key}"]`);
      if (button) button.disabled = value;
    }
    const state = bench?.querySelector('#mend-state');
    const unsaved = history.isChanged ? 'Not saved yet.' : this.isWaiting ? 'Not in the saved picture.' : '';
    if (state) state.textContent = this.timing || unsaved;
  }

  private choicePart(): HTMLElement[] {
    if (!this.isClosed) {
      const words =
        this.outline.length === 0
          ? 'Draw around what is to be mended, or set corners with Enter.'
          : `${this.outline.length} corners set.`;
      const close = keyButton('Close outline', 'close-outline', () => {
        this.finishOutline();
        this.render();
      });
      close.disabled = this.outline.length < 3;
      return [make('p', {}, words), close];
    }
    const feather = make('input', {
      type: 'number',
      min: 0,
      max: 1000,
      value: this.featherPx,
      'data-key': 'feather',
    });
    feather.addEventListener('change', () => {
      this.featherPx = Math.max(0, Math.min(1000, Number(feather.value) || 0));
      if (this.currentId !== undefined) {
        this.change(this.currentId, { featherPx: this.featherPx });
        void this.preview();
      }
    });
    return [
      make(
        'div',
        { class: 'row' },
        make('span', {}, 'Take it from:'),
        frameSelect(this.host.info(), this.chosenFrame(), (number) => this.choose(number)),
        make('label', { class: 'field' }, 'feather', feather, 'px'),
      ),
      cropCards(this.candidates, this.host.info(), this.chosenFrame(), (number) => this.choose(number)),
    ];
  }

  private chosenFrame(): number | undefined {
    return this.history.mends.find(({ id }) => id === this.currentId)?.frame;
  }

  private listPart(): HTMLElement[] {
    const { history } = this;
    const undo = keyButton('Undo', 'undo', () => this.undo());
    const redo = keyButton('Redo', 'redo', () => this.redo());
    const save = keyButton('Save', 'save', () => void this.save());
    save.classList.add('main');
    return [
      make('div', { class: 'row' }, undo, redo, save, make('span', { id: 'mend-state', role: 'status' })),
      history.mends.length === 0
        ? make('p', {}, 'No mends yet.')
        : make(
            'ul',
            { class: 'mends', 'aria-label': 'Mends' },
            ...history.mends.map((mend) => this.item(mend)),
          ),
    ];
  }

  private item(mend: PageMend): HTMLElement {
    return mendItem(mend, {
      onKeep: (kept) => {
        this.change(mend.id, { kept });
        void this.preview();
      },
      onNote: (note) => {
        this.history.replace(
          this.history.mends.map((other) => (other.id === mend.id ? { ...other, note } : other)),
        );
        this.timing = '';
        this.refresh();
      },
      onFind: (x, y) => this.host.lookAt(x, y),
    });
  }
}

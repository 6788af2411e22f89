import type { Candidates, DoubtfulPlace, PageMend, ResultInfo } from '../protocol.js';
import { api, RefusedError } from './api.js';
import { type Camera, toScreen } from './camera.js';
import { make } from './dom.js';
import { DoubtfulSteps } from './doubtful-steps.js';
import { DrawChoice } from './draw-choice.js';
import { ring, strokeTwice, type ToolHost } from './line-tools.js';
import {
  cropCards,
  frameSelect,
  isSameSource,
  keyButton,
  type MendSource,
  mendItem,
  RuleCrops,
} from './mend-parts.js';
import { MendSession } from './mend-session.js';
import { OutlineDrawing, traceRegions } from './outline-drawing.js';
import type { Tool } from './tool.js';

export interface MendHost extends ToolHost {
  /** Shows the composite with the mends of a key. */
  showMends(key: string): void;
  /** After saving: the result as it is now. */
  saved(info: ResultInfo): void;
  /** Brings a point into the middle; with a side, so that so many pixels around it are seen well. */
  lookAt(x: number, y: number, sidePx?: number): void;
  /** What the hand and the eye are at. */
  camera(): Camera;
}

/** Draws a region, offers the frames that are sharp there and other rules, and keeps the list of mends. */
export class MendTool implements Tool {
  readonly name = 'mend';
  private readonly session: MendSession;
  private panel: HTMLElement | undefined;
  /** What changes in the panel; the buttons above it stay. */
  private body = make('div');
  private readonly outline = new OutlineDrawing();
  private readonly crops = new RuleCrops();
  private readonly doubtful: DoubtfulSteps;
  private readonly choice: DrawChoice;
  /** Where the brush is held, composite pixels. */
  private held: [number, number] | undefined;
  private candidates: Candidates | undefined;
  /** Why the outline at hand cannot be mended. */
  private refusal: string | undefined;
  /** The mend that the outline at hand became: another choice of frame changes it instead of adding one. */
  private currentId: number | undefined;
  /** Of the outline at hand; undefined until the server has proposed one. */
  private featherPx: number | undefined;
  /** Counts outlines: what is learned of an earlier one comes too late. */
  private outlineTurn = 0;
  private isPressed = false;
  private isStale = false;

  constructor(private readonly host: MendHost) {
    this.session = new MendSession({
      info: () => host.info(),
      notify: (message) => host.notify(message),
      showMends: (key) => host.showMends(key),
      saved: (info) => {
        this.clearOutline();
        host.saved(info);
        this.doubtful.forget();
      },
      changed: () => this.render(),
    });
    this.doubtful = new DoubtfulSteps({
      onPlace: (place) => this.propose(place),
      notify: (message) => host.notify(message),
    });
    this.choice = new DrawChoice(
      this.outline,
      () => host.camera(),
      () => this.render(),
    );
    if (this.session.mends.some(({ kept }) => kept)) void this.session.preview();
  }

  open(panel: HTMLElement): void {
    this.panel = panel;
    this.body = make('div', { class: 'panel-body' });
    panel.append(this.head(), this.body);
    panel.addEventListener('pointerdown', this.onPress);
    void this.doubtful.load();
    this.render();
  }

  close(): void {
    this.held = undefined;
    this.panel?.removeEventListener('pointerdown', this.onPress);
    this.panel = undefined;
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

  press(x: number, y: number): void {
    this.clearOutline();
    this.outline.corners = [[x, y]];
    this.outline.isFreehand = true;
    this.render();
  }

  drag(x: number, y: number): void {
    if (this.outline.isFreehand) this.outline.corners.push([x, y]);
  }

  release(): void {
    if (this.outline.isFreehand) this.finishOutline();
  }

  set(x: number, y: number): void {
    if (this.outline.region) this.clearOutline();
    if (!this.outline.add([x, y])) this.finishOutline();
    this.render();
  }

  hover(x: number, y: number): boolean {
    if (this.outline.kind !== 'brush') return false;
    this.held = [x, y];
    return true;
  }

  leave(): void {
    this.held = undefined;
  }

  key(key: string): boolean {
    if (key === 'Escape') this.clearOutline();
    else if (key === 'Backspace' && !this.outline.region) this.outline.corners.pop();
    else if (key === 'c' || key === 'C') this.finishOutline();
    else return this.choice.key(key);
    this.render();
    return true;
  }

  /** To the next doubtful place, or the one before. */
  step(direction: 1 | -1): void {
    this.doubtful.step(direction);
  }

  draw(context: CanvasRenderingContext2D, camera: Camera): void {
    const others = this.session.mends.filter(({ id, kept }) => kept && id !== this.currentId);
    traceRegions(
      context,
      camera,
      others.map(({ region }) => region),
      '#c9c9c9',
    );
    this.outline.draw(context, camera);
    const { held } = this;
    if (!held || this.outline.kind !== 'brush') return;
    const radius = (this.outline.widthPx / 2) * camera.scale;
    strokeTwice(context, () => ring(context, ...toScreen(camera, ...held), radius));
  }

  /** A doubtful place as the region at hand. */
  private propose({ region }: DoubtfulPlace): void {
    this.clearOutline();
    this.outline.region = { kind: 'rectangle', ...region };
    const { x, y, width, height } = region;
    this.host.lookAt(x + (width - 1) / 2, y + (height - 1) / 2, Math.max(width, height));
    void this.loadCandidates();
    this.render();
  }

  /** True when Ctrl with this key is one of the tool's. */
  command(key: string, isShift: boolean): boolean {
    if (key === 'z' && !isShift) this.session.undo();
    else if (key === 'y' || (key === 'z' && isShift)) this.session.redo();
    else if (key === 's') void this.session.save();
    else return false;
    return true;
  }

  private clearOutline(): void {
    this.outline.clear();
    this.crops.clear();
    this.candidates = undefined;
    this.refusal = undefined;
    this.featherPx = undefined;
    this.currentId = undefined;
    this.outlineTurn++;
  }

  private finishOutline(): void {
    const { isFreehand } = this.outline;
    if (this.outline.region || !(this.outline.canClose || isFreehand)) return;
    if (this.outline.close(this.host.info().size)) void this.loadCandidates();
    this.render();
  }

  private async loadCandidates(): Promise<void> {
    const turn = this.outlineTurn;
    const { region } = this.outline;
    if (!region) return;
    try {
      const candidates = await api.candidates(region);
      if (turn !== this.outlineTurn) return;
      this.candidates = candidates;
      this.featherPx = candidates.featherPx;
    } catch (error) {
      if (!(error instanceof RefusedError)) throw error;
      if (turn !== this.outlineTurn) return;
      this.refusal = error.message;
    }
    this.render();
  }

  private choose(source: MendSource): void {
    const { region } = this.outline;
    if (!region || this.featherPx === undefined || isSameSource(this.chosen(), source)) return;
    const { frame, rule } = source;
    if (this.chosen()) {
      this.session.change(this.currentId!, { frame, rule });
    } else {
      const from = rule === undefined ? { frame } : { frame, rule };
      this.currentId = this.session.add({ ...from, region, featherPx: this.featherPx, note: '', kept: true });
    }
  }

  private render(): void {
    this.host.redraw();
    const { panel } = this;
    if (!panel) return;
    this.isStale = this.isPressed;
    // A button that is replaced between press and release would never be clicked.
    if (this.isPressed) return;
    // Filling anew would take the focus away from whoever uses keys.
    const focused = document.activeElement?.getAttribute('data-key');
    const { scrollTop } = this.body;
    this.body.replaceChildren(...this.choicePart(), this.list());
    this.body.scrollTop = scrollTop;
    this.refresh();
    if (focused) panel.querySelector<HTMLElement>(`[data-key="${focused}"]`)?.focus();
  }

  /** Which buttons can be pressed, and the state in words, without filling the panel anew. */
  private refresh(): void {
    const { session, panel } = this;
    const isOff: Record<string, boolean> = {
      undo: !session.canUndo,
      redo: !session.canRedo,
      save: !session.canSave,
    };
    for (const [key, value] of Object.entries(isOff)) {
      const button = panel?.querySelector<HTMLButtonElement>(`[data-key="${key}"]`);
      if (button) button.disabled = value;
    }
    const state = panel?.querySelector('#mend-state');
    if (state) state.textContent = session.state;
  }

  private choicePart(): HTMLElement[] {
    const { region, corners, kind, canClose } = this.outline;
    if (!region) {
      const isBrush = kind === 'brush';
      const ask = isBrush
        ? 'Draw along a hair, or set points by clicks or with Enter, then C. Comma and full stop change the width.'
        : 'Draw around what is to be mended, or set corners by clicks or with Enter.';
      const word = isBrush ? 'point' : 'corner';
      const text =
        corners.length === 0 ? ask : `${corners.length} ${word}${corners.length === 1 ? '' : 's'} set.`;
      const label = isBrush ? 'End stroke' : 'Close outline';
      const close = keyButton(label, 'close-outline', () => this.finishOutline());
      close.disabled = !canClose;
      return [make('p', {}, text), close];
    }
    if (this.refusal !== undefined) return [make('p', { role: 'status' }, this.refusal)];
    if (!this.candidates) return [make('p', {}, 'Looking for the frames that are sharp here ...')];
    const hasOthers = this.session.mends.some(({ id, kept }) => kept && id !== this.currentId);
    const feather = make('input', {
      type: 'number',
      min: 0,
      max: 1000,
      value: this.featherPx ?? this.candidates.featherPx,
      'data-key': 'feather',
    });
    feather.addEventListener('change', () => {
      const wanted = Math.max(0, Math.min(1000, Number(feather.value) || 0));
      if (wanted === this.featherPx) return;
      this.featherPx = wanted;
      if (this.currentId !== undefined && this.chosen()) {
        this.session.change(this.currentId, { featherPx: this.featherPx });
      }
    });
    return [
      make(
        'div',
        { class: 'row' },
        make('span', {}, 'From'),
        frameSelect(this.candidates, this.host.info(), this.chosen()?.frame || undefined, (frame) =>
          this.choose({ frame }),
        ),
        make('label', { class: 'field' }, 'feather', feather, 'px'),
      ),
      cropCards(this.candidates, this.host.info(), this.crops, hasOthers, this.chosen(), (source) =>
        this.choose(source),
      ),
    ];
  }

  private chosen(): MendSource | undefined {
    return this.session.mends.find(({ id }) => id === this.currentId);
  }

  private head(): HTMLElement {
    return make('div', { class: 'panel-head' }, this.choice.element, this.buttons(), this.doubtful.element);
  }

  private buttons(): HTMLElement {
    const undo = keyButton('Undo', 'undo', () => this.session.undo());
    const redo = keyButton('Redo', 'redo', () => this.session.redo());
    const save = keyButton('Save', 'save', () => void this.session.save());
    save.classList.add('main');
    return make(
      'div',
      { class: 'row' },
      undo,
      redo,
      save,
      make('span', { id: 'mend-state', role: 'status' }),
    );
  }

  private list(): HTMLElement {
    const { mends } = this.session;
    if (mends.length === 0) return make('p', {}, 'No mends yet.');
    const items = mends.map((mend) => this.item(mend));
    return make('ul', { class: 'mends', 'aria-label': 'Mends' }, ...items);
  }

  private item(mend: PageMend): HTMLElement {
    return mendItem(mend, {
      onKeep: (kept) => this.session.change(mend.id, { kept }),
      onNote: (note) => {
        this.session.note(mend.id, note);
        this.refresh();
      },
      onFind: (x, y) => this.host.lookAt(x, y),
    });
  }
}

import type { ResultInfo } from '../protocol.js';
import { byId } from './dom.js';
import { formatDepth, numberText } from './format-values.js';
import { type ReliefModel, readGlb } from './read-glb.js';
import type { ReliefScene, ReliefView } from './relief-scene.js';
import { slabOf } from './slab.js';

const start: ReliefView = {
  turnDegrees: 25,
  tiltDegrees: 15,
  zoom: 1,
  lampTurnDegrees: 315,
  lampHeightDegrees: 45,
  exaggeration: 1,
  hasPicture: true,
  slab: undefined,
};
const [minZoom, maxZoom] = [0.3, 30];
const maxTurn = 180;
const maxTilt = 89;
/** Degrees a key turns by, with Shift, and a screen pixel of a drag. */
const [keyDegrees, fineDegrees, dragDegrees] = [10, 1, 0.4];

export interface ReliefHost {
  info(): ResultInfo;
  notify(message: string): void;
}

/** The relief in the place of the picture: turned by pointer or keys, lit by a lamp, cut at the frames that are held. */
export class ReliefPanel {
  isOn = false;
  private view: ReliefView = { ...start };
  private held: [number, number] | undefined;
  private isCut = false;
  private scene: ReliefScene | undefined;
  /** Key of the maps that the relief shown was made of. */
  private shownKey: string | undefined;
  private model: ReliefModel | undefined;
  private isFramed = false;
  private readonly holder = byId('relief');
  private readonly canvas = byId<HTMLCanvasElement>('relief-canvas');
  private readonly status = byId('relief-status');

  constructor(private readonly host: ReliefHost) {
    const toggle = byId('relief-toggle');
    toggle.addEventListener('click', () => {
      this.isOn = !this.isOn;
      toggle.setAttribute('aria-pressed', String(this.isOn));
      this.holder.hidden = !this.isOn;
      if (this.isOn) void this.load();
    });
    this.slider('relief-lamp', (value) => ({ lampTurnDegrees: value }));
    this.slider('relief-lamp-height', (value) => ({ lampHeightDegrees: value }));
    this.slider('relief-depth', (value) => ({ exaggeration: value }));
    const picture = byId<HTMLInputElement>('relief-picture');
    picture.addEventListener('change', () => this.change({ hasPicture: picture.checked }));
    const cut = byId<HTMLInputElement>('relief-cut');
    cut.addEventListener('change', () => {
      this.isCut = cut.checked;
      this.hold(this.held);
    });
    byId('relief-reset').addEventListener('click', () => this.reset());
    this.canvas.addEventListener('keydown', (event) => this.keyDown(event));
    this.canvas.addEventListener('wheel', (event) => {
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY / 500));
    });
    this.canvas.addEventListener('pointerdown', (event) => this.canvas.setPointerCapture(event.pointerId));
    this.canvas.addEventListener('pointermove', (event) => {
      if (!this.canvas.hasPointerCapture(event.pointerId)) return;
      this.turn(-event.movementX * dragDegrees, event.movementY * dragDegrees);
    });
    new ResizeObserver(() => this.redraw()).observe(this.holder);
    matchMedia('(prefers-color-scheme: light)').addEventListener('change', () => this.redraw());
  }

  /** The frames that are held on the ruler: their slab is lit, and what is nearer is cut away where that is asked for. */
  hold(range: [number, number] | undefined): void {
    this.held = range;
    const { frames } = this.host.info();
    const slab = range && slabOf(frames, range);
    this.change({ slab: slab && { ...slab, isCut: this.isCut } });
  }

  /** After the result has changed. */
  refresh(): void {
    if (this.isOn) void this.load();
  }

  private async load(): Promise<void> {
    const { mapsKey } = this.host.info();
    if (this.shownKey === mapsKey) {
      this.redraw();
      return;
    }
    this.shownKey = mapsKey;
    this.status.textContent = 'Making the relief';
    try {
      this.scene ??= await this.openScene();
      const response = await fetch(`relief.glb?maps=${mapsKey}`);
      if (!response.ok) throw new Error(((await response.json()) as { message: string }).message);
      this.model = readGlb(await response.arrayBuffer());
      await this.scene.show(this.model);
      this.describe();
      this.redraw();
    } catch (error) {
      this.shownKey = undefined;
      this.status.textContent = '';
      this.host.notify(error instanceof Error ? error.message : String(error));
    }
  }

  /** Loaded when it is first asked for: the library behind it is larger than all of the page. */
  private async openScene(): Promise<ReliefScene> {
    const { ReliefScene } = await import('./relief-scene.js');
    try {
      return new ReliefScene(this.canvas);
    } catch {
      throw new Error('This browser shows no relief, for it has no WebGL, or that is turned off.');
    }
  }

  private slider(id: string, change: (value: number) => Partial<ReliefView>): void {
    const input = byId<HTMLInputElement>(id);
    input.addEventListener('input', () => this.change(change(Number(input.value))));
  }

  private reset(): void {
    const { slab, ...others } = start;
    byId<HTMLInputElement>('relief-lamp').value = String(start.lampTurnDegrees);
    byId<HTMLInputElement>('relief-lamp-height').value = String(start.lampHeightDegrees);
    byId<HTMLInputElement>('relief-depth').value = String(start.exaggeration);
    byId<HTMLInputElement>('relief-picture').checked = start.hasPicture;
    this.change(others);
  }

  private keyDown(event: KeyboardEvent): void {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? fineDegrees : keyDegrees;
    const actions: Record<string, (() => void) | undefined> = {
      ArrowLeft: () => this.turn(-step, 0),
      ArrowRight: () => this.turn(step, 0),
      ArrowUp: () => this.turn(0, step),
      ArrowDown: () => this.turn(0, -step),
      '+': () => this.zoom(1.25),
      '=': () => this.zoom(1.25),
      '-': () => this.zoom(1 / 1.25),
      '0': () => this.reset(),
      '1': () => this.change({ turnDegrees: 0, tiltDegrees: 0 }),
    };
    const action = actions[event.key];
    if (!action) return;
    event.preventDefault();
    action();
  }

  private turn(right: number, up: number): void {
    const turned = this.view.turnDegrees + right;
    const turnDegrees = ((((turned + maxTurn) % 360) + 360) % 360) - maxTurn;
    const tiltDegrees = Math.max(-maxTilt, Math.min(maxTilt, this.view.tiltDegrees + up));
    this.change({ turnDegrees, tiltDegrees });
  }

  private zoom(factor: number): void {
    this.change({ zoom: Math.max(minZoom, Math.min(maxZoom, this.view.zoom * factor)) });
  }

  private change(changes: Partial<ReliefView>): void {
    this.view = { ...this.view, ...changes };
    this.describe();
    this.redraw();
  }

  /** In words, for those who listen and those who look. */
  private describe(): void {
    if (!this.isOn || !this.model) return;
    const { turnDegrees, tiltDegrees, exaggeration, slab } = this.view;
    const { unit } = this.host.info();
    const side = (degrees: number, plus: string, minus: string) =>
      Math.round(degrees) === 0
        ? ''
        : ` ${numberText(Math.abs(degrees), 0)}° from ${degrees > 0 ? plus : minus}`;
    const from = `${side(turnDegrees, 'the right', 'the left')}${side(tiltDegrees, 'above', 'below')}`;
    const parts = [`Seen${from || ' from the front'}`];
    if (!this.model.isMetric) parts.push('depth drawn to no scale');
    if (exaggeration !== 1) parts.push(`depth ${numberText(exaggeration, 2)} times`);
    if (slab) {
      const span = `${formatDepth(slab.near, unit)} to ${formatDepth(slab.far, unit)}`;
      const who =
        this.held?.[0] === this.held?.[1] ? `frame ${this.held?.[0]}` : `frames ${this.held?.join(' to ')}`;
      parts.push(`${who}, ${span}, lit${slab.isCut ? ' and cut' : ''}`);
    }
    this.status.textContent = `${parts.join('; ')}.`;
  }

  private redraw(): void {
    if (!this.isOn || !this.scene || this.isFramed) return;
    this.isFramed = true;
    requestAnimationFrame(() => {
      this.isFramed = false;
      const { clientWidth, clientHeight } = this.canvas;
      const background = getComputedStyle(this.holder).backgroundColor;
      this.scene?.draw(this.view, clientWidth, clientHeight, devicePixelRatio, background);
      this.holder.dataset.drawn = String(Number(this.holder.dataset.drawn ?? 0) + 1);
    });
  }
}

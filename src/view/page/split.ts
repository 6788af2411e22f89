import type { ResultInfo } from '../protocol.js';
import { byId, make } from './dom.js';
import type { LayerName } from './legend.js';

/** What a half shows: a layer, a frame as `frame-N`, or `before`, the composite without the mends that are shown. */
export type HalfName = Exclude<LayerName, 'frame'> | 'before' | `frame-${number}`;

/**
 * What to compare with the right half, so that the halves differ and the comparison shows something: the composite
 * against the frame that is sharp at the spot last pointed at, or supplies most of the picture; anything else against
 * the composite.
 *
 * @param atSpot Frame that supplied the spot last pointed at.
 */
export function otherHalf(
  right: HalfName,
  frames: ResultInfo['frames'],
  atSpot: number | undefined,
): HalfName {
  if (right !== 'composite') return 'composite';
  const shown = frames.filter(({ used }) => used);
  const pointed = shown.find(({ number }) => number === atSpot);
  const best = pointed ?? shown.reduce((a, b) => (b.sharePercent > a.sharePercent ? b : a), shown[0]);
  return best ? `frame-${best.number}` : 'depth';
}

export function halfText(half: HalfName, frames: ResultInfo['frames']): string {
  if (half === 'before') return 'before mends';
  if (!half.startsWith('frame-')) return half;
  const number = Number(half.slice(6));
  const name = frames.find((frame) => frame.number === number)?.name ?? '';
  return `frame ${number} · ${name}`;
}

export interface SplitHost {
  info(): ResultInfo;
  /** What the right half shows: the chosen layer. */
  right(): HalfName;
  /** The frame that supplied the spot last pointed at. */
  frameAtSpot(): number | undefined;
  /** Whether mends are shown, so that the picture before them is another one. */
  hasMends(): boolean;
  redraw(): void;
}

/** The picture in two halves at a line that can be moved. */
export class Split {
  isOn = false;
  /** Share of the width that the left half takes, 0 to 1. */
  at = 0.5;
  private readonly select = byId<HTMLSelectElement>('left');
  private readonly divider = byId('divider');

  constructor(
    canvas: HTMLElement,
    private readonly host: SplitHost,
  ) {
    const toggle = byId<HTMLInputElement>('compare');
    toggle.addEventListener('change', () => {
      this.isOn = toggle.checked;
      this.choose(otherHalf(host.right(), host.info().frames, host.frameAtSpot()));
      this.update();
    });
    this.select.addEventListener('change', () => this.update());
    this.divider.addEventListener('pointerdown', (event) => this.divider.setPointerCapture(event.pointerId));
    this.divider.addEventListener('pointermove', (event) => {
      if (!this.divider.hasPointerCapture(event.pointerId)) return;
      const box = canvas.getBoundingClientRect();
      this.move((event.clientX - box.left) / box.width);
    });
    this.divider.addEventListener('keydown', (event) => {
      const step = { ArrowLeft: -0.02, ArrowRight: 0.02, PageDown: -0.2, PageUp: 0.2, Home: -1, End: 1 }[
        event.key
      ];
      if (step === undefined) return;
      event.preventDefault();
      this.move(this.at + step);
    });
    this.move(this.at);
  }

  get left(): HalfName {
    return this.select.value as HalfName;
  }

  /** After what the right half shows, or the mends, have changed: two equal halves show nothing. */
  update(): void {
    const { isOn, divider } = this;
    divider.hidden = !isOn;
    byId('left-field').hidden = !isOn;
    byId('half-left').hidden = !isOn;
    byId('half-right').hidden = !isOn;
    if (!isOn) {
      this.host.redraw();
      return;
    }
    const { frames } = this.host.info();
    const right = this.host.right();
    const isSame = this.left === right || (this.left === 'before' && !this.host.hasMends());
    this.choose(isSame ? otherHalf(right, frames, this.host.frameAtSpot()) : this.left);
    byId('half-left').textContent = halfText(this.left, frames);
    byId('half-right').textContent = halfText(right, frames);
    this.host.redraw();
  }

  private choose(left: HalfName): void {
    const { frames } = this.host.info();
    const right = this.host.right();
    const names: HalfName[] = [
      'composite',
      ...(this.host.hasMends() ? (['before'] as const) : []),
      'depth',
      'sources',
      'confidence',
      'coverage',
      ...frames.filter(({ used }) => used).map(({ number }): HalfName => `frame-${number}`),
    ];
    this.select.replaceChildren(
      ...names.map((value) =>
        make(
          'option',
          { value, selected: value === left, disabled: value === right },
          halfText(value, frames),
        ),
      ),
    );
  }

  private move(at: number): void {
    this.at = Math.max(0, Math.min(1, at));
    const percent = `${this.at * 100}%`;
    this.divider.style.left = percent;
    byId('half-left').style.right = `calc(${100 - this.at * 100}% + 1rem)`;
    byId('half-right').style.left = `calc(${percent} + 1rem)`;
    this.divider.setAttribute('aria-valuenow', String(Math.round(this.at * 100)));
    this.host.redraw();
  }
}

import type { PageFrame, ResultInfo } from '../protocol.js';
import { makeSvg } from './dom.js';
import { formatDepth, numberText, shareText } from './format-values.js';

/** Positions from the left in drawing units, which are CSS pixels. */
const layout = {
  width: 320,
  margin: 22,
  markEnd: 50,
  barX: 54,
  barWidth: 12,
  curveFrom: 70,
  axis: 168,
  longest: 78,
  bracketX: 312,
} as const;
const labelDistance = 12;

export interface RulerEvents {
  /** The frames that are held, first and last by number; undefined for none. */
  onHold(range: [number, number] | undefined): void;
  /** A frame is to be shown alone. */
  onShow(frame: number): void;
}

type FrameWithDepth = PageFrame & { depth: number };

/** What the ruler shows of a spot of the picture. */
export interface SpotOnRuler {
  /** Frames that supplied it, with their shares from 0 to 1. */
  sources: readonly (readonly [frame: number, share: number])[];
  /** Focus measure by index among the frames in use; undefined when nothing is pointed at. */
  curve: readonly (number | null)[] | undefined;
  depth: number | null | undefined;
}

/**
 * The rail ruler: depth runs downwards from the camera; every frame is a tick at its plane of focus, to the right of the
 * axis as long as its share of the picture; to the left of the axis the focus curve of the spot that is pointed at.
 */
export class Ruler {
  private frames: FrameWithDepth[] = [];
  private readonly svg: SVGSVGElement;
  private readonly curve = makeSvg('path', { class: 'curve' });
  private readonly spotLine = makeSvg('line', { class: 'spot-depth', visibility: 'hidden' });
  private readonly bracket = makeSvg('path', { class: 'bracket' });
  private ticks: SVGGElement[] = [];
  private height = 0;
  private active = 0;
  private anchorIndex = 0;
  private held: [number, number] | undefined;
  private isDragging = false;
  /** What is shown of a spot, to be drawn anew when the ruler is. */
  private spot: SpotOnRuler = { sources: [], curve: undefined, depth: undefined };
  /** What the values of `curve` belong to: numbers of the frames in use, in capture order. */
  private curveFrames: number[] = [];

  constructor(
    private readonly holder: HTMLElement,
    private info: ResultInfo,
    private readonly events: RulerEvents,
  ) {
    this.svg = makeSvg('svg', {
      role: 'listbox',
      tabindex: 0,
      'aria-multiselectable': 'true',
      'aria-label': 'Frames along the depth axis, the nearest first, with their shares of the picture',
    });
    holder.append(this.svg);
    this.svg.addEventListener('keydown', (event) => this.keyDown(event));
    this.svg.addEventListener('pointerdown', (event) => this.pointerDown(event));
    this.svg.addEventListener('pointermove', (event) => this.pointerMove(event));
    this.svg.addEventListener('pointerup', () => {
      this.isDragging = false;
    });
    this.svg.addEventListener('dblclick', () => {
      const frame = this.frames[this.active];
      if (frame) events.onShow(frame.number);
    });
    this.svg.addEventListener('focus', () => this.markActive());
    this.svg.addEventListener('blur', () => {
      for (const tick of this.ticks) tick.classList.remove('active');
    });
    new ResizeObserver(() => this.build()).observe(holder);
    this.take(info);
  }

  /** Another state of the result, as after saving. */
  take(info: ResultInfo): void {
    this.info = info;
    this.frames = info.frames
      .filter((frame): frame is FrameWithDepth => frame.depth !== null)
      .sort((first, second) => first.depth - second.depth);
    this.curveFrames = info.frames.filter(({ used }) => used).map(({ number }) => number);
    this.build();
  }

  private range(): { near: number; far: number } {
    const depths = this.frames.map(({ depth }) => depth);
    const map = this.info.depthRange;
    const near = Math.min(...depths, map?.near ?? Number.POSITIVE_INFINITY);
    const far = Math.max(...depths, map?.far ?? Number.NEGATIVE_INFINITY);
    return Number.isFinite(near) && far > near ? { near, far } : { near: near - 1, far: far + 1 };
  }

  private yOf(depth: number): number {
    const { near, far } = this.range();
    return layout.margin + ((depth - near) / (far - near)) * (this.height - 2 * layout.margin);
  }

  private build(): void {
    this.height = this.holder.clientHeight;
    if (this.height < 60 || this.frames.length === 0) return;
    const { svg, info } = this;
    svg.setAttribute('viewBox', `0 0 ${layout.width} ${this.height}`);
    svg.setAttribute('preserveAspectRatio', 'xMidYMid meet');
    const maxShare = Math.max(...this.frames.map(({ sharePercent }) => sharePercent)) || 1;
    const labelled = this.spaced();
    const gap = (this.height - 2 * layout.margin) / Math.max(1, this.frames.length - 1);
    const thickness = Math.max(1, Math.min(4, gap * 0.45));
    this.ticks = this.frames.map((frame, i) =>
      this.tick(frame, i, maxShare, thickness, gap, labelled.has(i)),
    );
    const { near, far } = this.range();
    const marks = axisMarks(near, far, (this.height - 2 * layout.margin) / 46).map((depth) => {
      const y = this.yOf(depth);
      return makeSvg(
        'g',
        {},
        makeSvg('text', { x: layout.markEnd, y: y + 4, 'text-anchor': 'end' }, `${numberText(depth, 4)}`),
        makeSvg('line', { class: 'axis', x1: layout.barX - 2, x2: layout.barX, y1: y, y2: y }),
      );
    });
    const axis = makeSvg('line', {
      class: 'axis',
      x1: layout.axis,
      x2: layout.axis,
      y1: layout.margin,
      y2: this.height - layout.margin,
    });
    const ends = [
      makeSvg('text', { x: 6, y: 11 }, info.unit === 'mm' ? 'near, mm' : 'near, steps'),
      makeSvg('text', { x: layout.axis - 6, y: 11, 'text-anchor': 'end' }, 'focus curve'),
      makeSvg('text', { x: layout.axis + 4, y: 11 }, 'share of picture'),
      makeSvg('text', { x: layout.markEnd, y: this.height - 4, 'text-anchor': 'end' }, 'far'),
    ];
    svg.replaceChildren(
      ...ends,
      ...this.colourBar(),
      ...marks,
      this.curve,
      axis,
      this.spotLine,
      ...this.ticks,
      this.bracket,
    );
    this.showHeld();
    this.showSpot(this.spot);
    if (document.activeElement === svg) this.markActive();
  }

  private tick(
    frame: FrameWithDepth,
    index: number,
    maxShare: number,
    thickness: number,
    gap: number,
    isLabelled: boolean,
  ): SVGGElement {
    const y = this.yOf(frame.depth);
    const end = layout.axis + Math.max(3, (frame.sharePercent / maxShare) * layout.longest);
    const remark = frame.number === this.info.anchor ? ' anchor' : frame.used ? '' : ' left out';
    const summary = frame.used
      ? `supplies ${shareText(frame.sharePercent)} of the picture`
      : (frame.leftOutReason ?? 'could not be aligned');
    const tick = makeSvg(
      'g',
      {
        id: `tick-${frame.number}`,
        class: `tick${frame.used ? '' : ' gone'}`,
        role: 'option',
        'aria-selected': 'false',
        'aria-label': `Frame ${frame.number}${remark}, depth ${formatDepth(frame.depth, this.info.unit)}, ${summary}`,
        'data-index': index,
        'data-frame': frame.number,
        'data-share': frame.sharePercent,
      },
      makeSvg('title', {}, `Frame ${frame.number}${remark}, ${frame.name}: ${summary}`),
      makeSvg('rect', {
        x: layout.axis - 4,
        y: y - Math.max(3, gap / 2),
        width: layout.width - layout.axis,
        height: Math.max(6, gap),
        fill: 'transparent',
      }),
      makeSvg('line', { x1: layout.axis, x2: end, y1: y, y2: y, 'stroke-width': thickness }),
    );
    if (isLabelled) {
      tick.append(makeSvg('text', { x: end + 4, y: y + 4 }, `${frame.number}${remark}`));
    }
    return tick;
  }

  /** Ticks whose numbers have room, the anchor's first. */
  private spaced(): Set<number> {
    const taken: number[] = [];
    const chosen = new Set<number>();
    const order = this.frames.map((_, i) => i);
    order.sort(
      (first, second) =>
        Number(this.frames[second].number === this.info.anchor) -
          Number(this.frames[first].number === this.info.anchor) || first - second,
    );
    for (const i of order) {
      const y = this.yOf(this.frames[i].depth);
      if (taken.some((other) => Math.abs(other - y) < labelDistance)) continue;
      taken.push(y);
      chosen.add(i);
    }
    return chosen;
  }

  /** The colours of the depth layer beside the axis, over the depths that it shows. */
  private colourBar(): SVGElement[] {
    const range = this.info.depthRange;
    if (!range) return [];
    const colours = this.info.depthColours;
    const stops = colours.map((colour, i) =>
      makeSvg('stop', { offset: i / (colours.length - 1), 'stop-color': colour }),
    );
    const top = this.yOf(range.near);
    return [
      makeSvg('linearGradient', { id: 'rail-ramp', x1: 0, y1: 0, x2: 0, y2: 1 }, ...stops),
      makeSvg('rect', {
        x: layout.barX,
        y: top,
        width: layout.barWidth,
        height: Math.max(1, this.yOf(range.far) - top),
        fill: 'url(#rail-ramp)',
      }),
    ];
  }

  /** Lights the ticks of a spot's sources and draws its focus curve. */
  showSpot(spot: SpotOnRuler): void {
    this.spot = spot;
    const { sources, curve, depth } = spot;
    const lit = new Set(sources.filter(([, share]) => share >= 0.05).map(([frame]) => frame));
    this.frames.forEach((frame, i) => {
      this.ticks[i]?.classList.toggle('spot', lit.has(frame.number));
    });
    const isKnown = typeof depth === 'number';
    this.spotLine.setAttribute('visibility', isKnown ? 'visible' : 'hidden');
    if (isKnown) {
      const y = this.yOf(depth);
      for (const [name, value] of Object.entries({ x1: layout.barX, x2: layout.axis, y1: y, y2: y })) {
        this.spotLine.setAttribute(name, String(value));
      }
    }
    this.curve.setAttribute('d', curve ? this.curvePath(curve) : '');
  }

  private curvePath(curve: readonly (number | null)[]): string {
    const maxMeasure = Math.max(...curve.map((value) => value ?? 0));
    if (!(maxMeasure > 0)) return '';
    const byNumber = new Map(this.curveFrames.map((number, i) => [number, curve[i]]));
    const room = layout.axis - layout.curveFrom - 4;
    const points = this.frames.flatMap((frame) => {
      const value = byNumber.get(frame.number);
      if (value === null || value === undefined) return [];
      return [[layout.axis - (value / maxMeasure) * room, this.yOf(frame.depth)]];
    });
    if (points.length < 2) return '';
    const path = points.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(' L');
    return `M${layout.axis},${points[0][1].toFixed(1)} L${path} L${layout.axis},${points[points.length - 1][1].toFixed(1)} Z`;
  }

  /** Holds frames by number, or lets go. */
  hold(range: [number, number] | undefined): void {
    this.held = range;
    this.showHeld();
    this.events.onHold(range);
  }

  private showHeld(): void {
    const { held } = this;
    const ys: number[] = [];
    this.frames.forEach((frame, i) => {
      const isHeld = held !== undefined && frame.number >= held[0] && frame.number <= held[1];
      this.ticks[i]?.classList.toggle('held', isHeld);
      this.ticks[i]?.setAttribute('aria-selected', String(isHeld));
      if (isHeld) ys.push(this.yOf(frame.depth));
    });
    const x = layout.bracketX;
    const [top, bottom] = [Math.min(...ys) - 3, Math.max(...ys) + 3];
    this.bracket.setAttribute('d', ys.length > 0 ? `M${x - 5},${top} H${x} V${bottom} H${x - 5}` : '');
  }

  private holdIndices(from: number, to: number): void {
    const numbers = [this.frames[from].number, this.frames[to].number];
    this.hold([Math.min(...numbers), Math.max(...numbers)]);
  }

  private markActive(): void {
    this.ticks.forEach((tick, i) => {
      tick.classList.toggle('active', i === this.active);
    });
    const frame = this.frames[this.active];
    if (frame) this.svg.setAttribute('aria-activedescendant', `tick-${frame.number}`);
  }

  private keyDown(event: KeyboardEvent): void {
    const last = this.frames.length - 1;
    const targets: Record<string, number | undefined> = {
      ArrowDown: Math.min(last, this.active + 1),
      ArrowUp: Math.max(0, this.active - 1),
      PageDown: Math.min(last, this.active + 10),
      PageUp: Math.max(0, this.active - 10),
      Home: 0,
      End: last,
    };
    const target = targets[event.key];
    if (target !== undefined) {
      this.active = target;
      if (!event.shiftKey) this.anchorIndex = target;
      this.markActive();
      this.holdIndices(this.anchorIndex, target);
    } else if (event.key === 'Enter') {
      this.events.onShow(this.frames[this.active].number);
    } else if (event.key === 'Escape') {
      this.hold(undefined);
    } else {
      return;
    }
    event.preventDefault();
  }

  private indexAt(event: PointerEvent): number {
    const box = this.svg.getBoundingClientRect();
    const y = ((event.clientY - box.top) / box.height) * this.height;
    let nearest = 0;
    this.frames.forEach((frame, i) => {
      if (Math.abs(this.yOf(frame.depth) - y) < Math.abs(this.yOf(this.frames[nearest].depth) - y))
        nearest = i;
    });
    return nearest;
  }

  private pressedHeld = false;

  private pointerDown(event: PointerEvent): void {
    this.svg.setPointerCapture(event.pointerId);
    const index = this.indexAt(event);
    const number = this.frames[index].number;
    this.pressedHeld = this.held !== undefined && this.held[0] === number && this.held[1] === number;
    this.isDragging = true;
    this.active = index;
    this.anchorIndex = index;
    this.markActive();
    // A second press on the one that is held lets it go.
    if (this.pressedHeld && event.detail < 2) this.hold(undefined);
    else this.holdIndices(index, index);
  }

  private pointerMove(event: PointerEvent): void {
    if (!this.isDragging) return;
    const index = this.indexAt(event);
    if (index === this.active) return;
    this.active = index;
    this.markActive();
    this.holdIndices(this.anchorIndex, index);
  }
}

/** Round values (1, 2 or 5 times a power of ten apart) from near to far, about `count` of them. */
export function axisMarks(near: number, far: number, count: number): number[] {
  // All of one depth: a mark at it.
  if (!(far > near)) return [near];
  const rough = (far - near) / Math.max(1, count);
  const power = 10 ** Math.floor(Math.log10(rough));
  const distance = [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= rough) ?? rough;
  const marks: number[] = [];
  for (let i = Math.ceil(near / distance - 1e-9); i <= far / distance + 1e-9; i++) marks.push(i * distance);
  return marks;
}

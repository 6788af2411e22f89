import type { ResultInfo } from '../protocol.js';
import { api, RefusedError } from './api.js';
import { type Camera, toScreen } from './camera.js';
import { make, makeSvg } from './dom.js';
import { formatDepth, mmText, numberText } from './format-values.js';
import { distanceOf, type Metric, mmPerPixelAt } from './measure.js';
import { axisMarks } from './ruler.js';
import type { Tool } from './tool.js';

type Point = [number, number];

/** What the tools need of the page. */
export interface ToolHost {
  info(): ResultInfo;
  redraw(): void;
  notify(message: string): void;
}

export function metricOf(info: ResultInfo): Metric {
  return {
    unit: info.unit,
    mmPerPixel: info.mmPerPixel,
    centre: [(info.size.width - 1) / 2, (info.size.height - 1) / 2],
    frames: info.frames.flatMap(({ used, depth, scale }) =>
      used && depth !== null ? [{ depth, scale }] : [],
    ),
  };
}

/** A tool that takes two points: by dragging from one to the other, by two clicks, or by key. */
abstract class LineTool implements Tool {
  abstract readonly name: 'section' | 'distance';
  protected points: Point[] = [];
  protected panel: HTMLElement | undefined;
  /** Where the second point would be set. */
  private trial: Point | undefined;

  constructor(protected readonly host: ToolHost) {}

  open(panel: HTMLElement): void {
    this.panel = panel;
    this.show();
  }

  close(): void {
    this.panel = undefined;
    this.trial = undefined;
  }

  press(x: number, y: number): void {
    this.trial = undefined;
    this.points = [this.inside(x, y)];
  }

  drag(x: number, y: number): void {
    this.points[1] = this.inside(x, y);
  }

  release(x: number, y: number): void {
    this.points[1] = this.inside(x, y);
    this.finish();
  }

  set(x: number, y: number): void {
    if (this.points.length > 1) this.points = [];
    this.trial = undefined;
    this.points.push(this.inside(x, y));
    this.finish();
  }

  hover(x: number, y: number): boolean {
    if (this.points.length !== 1) return false;
    this.trial = this.inside(x, y);
    return true;
  }

  key(key: string): boolean {
    if (key === 'Escape') this.points = [];
    else if (key === 'Backspace') this.points.pop();
    else return false;
    this.trial = undefined;
    this.show();
    return true;
  }

  draw(context: CanvasRenderingContext2D, camera: Camera): void {
    const line = this.trial ? [...this.points, this.trial] : this.points;
    const corners = line.map(([x, y]) => toScreen(camera, x, y));
    if (this.trial) context.setLineDash([6, 5]);
    strokeTwice(context, () => {
      corners.forEach(([x, y], i) => {
        if (i === 0) context.moveTo(x, y);
        else context.lineTo(x, y);
      });
    });
    context.setLineDash([]);
    for (const [x, y] of corners.slice(0, this.points.length)) {
      strokeTwice(context, () => ring(context, x, y, 5));
    }
  }

  private inside(x: number, y: number): Point {
    const { width, height } = this.host.info().size;
    return [
      Math.max(0, Math.min(width - 1, Math.round(x))),
      Math.max(0, Math.min(height - 1, Math.round(y))),
    ];
  }

  private finish(): void {
    const [first, second] = this.points;
    if (second && first[0] === second[0] && first[1] === second[1]) this.points.pop();
    this.show();
  }

  /** Brings the panel up to date; with two points, also what lies between them. */
  protected abstract show(): void;
}

export class DistanceTool extends LineTool {
  readonly name = 'distance';

  protected show(): void {
    const { panel, points } = this;
    if (!panel) return;
    if (points.length < 2) {
      const ask =
        points.length === 0
          ? 'Click at both points, drag from one to the other, or set each with Enter.'
          : 'Set the second point.';
      panel.replaceChildren(make('p', {}, ask));
      return;
    }
    void this.measure(points[0], points[1]);
  }

  private async measure(from: Point, to: Point): Promise<void> {
    const info = this.host.info();
    try {
      const [first, second] = await Promise.all([api.spot(...from, 0), api.spot(...to, 0)]);
      const metric = metricOf(info);
      const found = distanceOf(
        metric,
        { x: from[0], y: from[1], depth: first.depth ?? null },
        { x: to[0], y: to[1], depth: second.depth ?? null },
      );
      const lines = [make('p', { id: 'distance-main' }, make('b', {}, distanceText(found)))];
      const parts = [`${numberText(found.px, 1)} px in the picture`];
      if (found.acrossMm !== null) parts.push(`${mmText(found.acrossMm)} across`);
      parts.push(
        found.depth === null
          ? 'depth unknown at an end'
          : `${formatDepth(Math.abs(found.depth), info.unit)} in depth`,
      );
      lines.push(make('p', {}, parts.join(' · ')));
      if (info.mmPerPixel === null) {
        lines.push(
          make(
            'p',
            {},
            'Merge with the width of the field (or magnification and pixel pitch) for lengths in mm.',
          ),
        );
      } else if (info.unit === 'step') {
        lines.push(make('p', {}, 'Merge with the step or the positions of the rail for depth in mm.'));
      }
      this.panel?.replaceChildren(...lines);
    } catch (error) {
      if (error instanceof RefusedError) this.host.notify(error.message);
      else throw error;
    }
  }
}

function distanceText(found: ReturnType<typeof distanceOf>): string {
  if (found.spaceMm !== null) return `Distance ${mmText(found.spaceMm)} in space`;
  if (found.acrossMm !== null) return `Distance ${mmText(found.acrossMm)} across (depth left out)`;
  return `Distance ${numberText(found.px, 1)} px`;
}

const plotSize = { height: 136, left: 62, right: 12, top: 8, bottom: 22 } as const;

export class SectionTool extends LineTool {
  readonly name = 'section';
  private depths: (number | null)[] = [];
  private at = 0.5;

  protected show(): void {
    this.depths = [];
    if (!this.panel) return;
    if (this.points.length < 2) {
      const ask =
        this.points.length === 0
          ? 'Click at both ends of a line, drag from one to the other, or set each with Enter.'
          : 'Set the other end.';
      this.panel.replaceChildren(make('p', {}, ask));
      return;
    }
    void this.load(this.points[0], this.points[1]);
  }

  private async load(from: Point, to: Point): Promise<void> {
    const points = Math.min(1500, Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1])) + 1);
    try {
      const { depths } = await api.section(...from, ...to, points);
      this.depths = depths;
      this.plot();
      this.host.redraw();
    } catch (error) {
      if (error instanceof RefusedError) this.host.notify(error.message);
      else throw error;
    }
  }

  private plot(): void {
    const info = this.host.info();
    const known = this.depths.filter((depth) => depth !== null);
    if (!this.panel || this.points.length < 2) return;
    if (known.length === 0) {
      this.panel.replaceChildren(make('p', {}, 'No depth is known along this line.'));
      return;
    }
    const near = Math.min(...known);
    const far = Math.max(...known);
    const [[x0, y0], [x1, y1]] = this.points;
    const lengthPx = Math.hypot(x1 - x0, y1 - y0);
    const side = mmPerPixelAt(metricOf(info), info.unit === 'mm' ? (near + far) / 2 : null);
    const length = side === null ? `${numberText(lengthPx, 0)} px` : mmText(lengthPx * side);
    const summary = make(
      'p',
      { id: 'section-summary' },
      make('b', {}, `Section ${length} long`),
      ` · depth from ${formatDepth(near, info.unit)} to ${formatDepth(far, info.unit)}, a range of ${formatDepth(far - near, info.unit)}`,
    );
    const here = makeSvg('line', { class: 'here', y1: plotSize.top, y2: plotSize.height - plotSize.bottom });
    const slider = make('input', {
      type: 'range',
      min: 0,
      max: this.depths.length - 1,
      value: Math.round(this.at * (this.depths.length - 1)),
      'aria-label': 'Position along the section',
    });
    const readout = make('output', {});
    const move = (): void => {
      const i = Number(slider.value);
      this.at = i / (this.depths.length - 1);
      const x = plotSize.left + this.at * (width - plotSize.left - plotSize.right);
      here.setAttribute('x1', String(x));
      here.setAttribute('x2', String(x));
      const depth = this.depths[i];
      const along =
        side === null ? `${numberText(this.at * lengthPx, 0)} px` : mmText(this.at * lengthPx * side);
      readout.textContent = `at ${along}: ${depth === null ? 'no depth' : formatDepth(depth, info.unit)}`;
      this.host.redraw();
    };
    slider.addEventListener('input', move);
    const width = Math.max(240, this.panel.clientWidth - 26);
    const svg = profile(this.depths, near, far, info, here, length, width);
    svg.addEventListener('pointermove', (event) => {
      const box = svg.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * width;
      const along = (x - plotSize.left) / (width - plotSize.left - plotSize.right);
      slider.value = String(Math.round(Math.max(0, Math.min(1, along)) * (this.depths.length - 1)));
      move();
    });
    this.panel.replaceChildren(summary, svg, make('div', { class: 'row' }, slider, readout));
    move();
  }

  override draw(context: CanvasRenderingContext2D, camera: Camera): void {
    super.draw(context, camera);
    if (this.points.length < 2 || this.depths.length === 0) return;
    const [[x0, y0], [x1, y1]] = this.points;
    const [x, y] = toScreen(camera, x0 + (x1 - x0) * this.at, y0 + (y1 - y0) * this.at);
    context.fillStyle = '#ffc857';
    context.beginPath();
    ring(context, x, y, 5);
    context.fill();
  }
}

/** Depth along the line: near above, far below, as on the ruler. */
function profile(
  depths: readonly (number | null)[],
  near: number,
  far: number,
  info: ResultInfo,
  here: SVGLineElement,
  length: string,
  width: number,
): SVGSVGElement {
  const { height, left, right, top, bottom } = plotSize;
  const span = far - near || 1;
  const xOf = (i: number) => left + (i / (depths.length - 1)) * (width - left - right);
  const yOf = (depth: number) => top + ((depth - near) / span) * (height - top - bottom);
  let path = '';
  depths.forEach((depth, i) => {
    if (depth === null) return;
    const isBroken = i === 0 || depths[i - 1] === null;
    path += `${isBroken ? 'M' : 'L'}${xOf(i).toFixed(1)},${yOf(depth).toFixed(1)} `;
  });
  const marks = axisMarks(near, far, 4).flatMap((depth) => [
    makeSvg('line', { class: 'grid', x1: left, x2: width - right, y1: yOf(depth), y2: yOf(depth) }),
    makeSvg('text', { x: left - 6, y: yOf(depth) + 4, 'text-anchor': 'end' }, numberText(depth, 3)),
  ]);
  return makeSvg(
    'svg',
    {
      class: 'plot',
      viewBox: `0 0 ${width} ${height}`,
      preserveAspectRatio: 'none',
      role: 'img',
      'aria-label': 'Depth along the section, near above',
    },
    ...marks,
    makeSvg('path', { class: 'line', d: path, 'vector-effect': 'non-scaling-stroke' }),
    here,
    makeSvg(
      'text',
      { x: left, y: height - 6 },
      `0 (${info.unit === 'mm' ? 'depth in mm' : 'depth in steps'})`,
    ),
    makeSvg('text', { x: width - right, y: height - 6, 'text-anchor': 'end' }, length),
  );
}

/** A light line on a dark one: seen on any ground. */
export function strokeTwice(context: CanvasRenderingContext2D, trace: () => void, colour = '#fff'): void {
  context.lineJoin = 'round';
  for (const [width, style] of [
    [4, 'rgb(0 0 0 / .75)'],
    [2, colour],
  ] as const) {
    context.lineWidth = width;
    context.strokeStyle = style;
    context.beginPath();
    trace();
    context.stroke();
  }
}

export function ring(context: CanvasRenderingContext2D, x: number, y: number, radius: number): void {
  context.moveTo(x + radius, y);
  context.arc(x, y, radius, 0, 2 * Math.PI);
}

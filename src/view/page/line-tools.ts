import type { ResultInfo } from '../protocol.js';
import { type Camera, toScreen } from './camera.js';
import type { MeasureList } from './measure-list.js';
import type { Tool } from './tool.js';

export type Point = [number, number];

/** What the tools need of the page. */
export interface ToolHost {
  info(): ResultInfo;
  redraw(): void;
  notify(message: string): void;
}

/** A tool that takes two points: by dragging from one to the other, by two clicks, or by key. */
export abstract class LineTool implements Tool {
  abstract readonly name: 'section' | 'distance';
  protected points: Point[] = [];
  protected panel: HTMLElement | undefined;
  /** Where the second point would be set. */
  private trial: Point | undefined;

  constructor(
    protected readonly host: ToolHost,
    protected readonly kept: MeasureList,
  ) {}

  open(panel: HTMLElement): void {
    this.panel = panel;
    this.kept.open();
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
    this.kept.draw(context, camera);
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

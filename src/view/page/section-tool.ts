import type { ResultInfo, Section } from '../protocol.js';
import { api, RefusedError } from './api.js';
import { type Camera, toScreen } from './camera.js';
import { make, makeSvg } from './dom.js';
import { formatDepth, mmText, numberText } from './format-values.js';
import { LineTool, type Point, ring } from './line-tools.js';
import { quantityList } from './measure-list.js';
import { axisMarks } from './ruler.js';

const plotSize = { height: 136, left: 62, right: 12, top: 8, bottom: 22 } as const;

/** Draws depth along a line, and keeps it with the result as `lamella measure --profile` does. */
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
      this.panel.replaceChildren(make('p', {}, ask), this.kept.element);
      return;
    }
    void this.load(this.points[0], this.points[1]);
  }

  private async load(from: Point, to: Point): Promise<void> {
    const points = Math.min(1500, Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1])) + 1);
    try {
      const section = await api.section(...from, ...to, points);
      const [first, second] = this.points;
      // Other points were set meanwhile.
      if (first !== from || second !== to) return;
      this.depths = section.depths;
      this.plot(section, from, to);
      this.host.redraw();
    } catch (error) {
      if (error instanceof RefusedError) this.host.notify(error.message);
      else throw error;
    }
  }

  private plot({ profile }: Section, from: Point, to: Point): void {
    const info = this.host.info();
    const known = this.depths.filter((depth) => depth !== null);
    if (!this.panel) return;
    if (known.length === 0) {
      this.panel.replaceChildren(make('p', {}, 'No depth is known along this line.'), this.kept.element);
      return;
    }
    const near = Math.min(...known);
    const far = Math.max(...known);
    const lengthText = (part: number): string => {
      const { value, unit } = profile.length;
      return unit === 'mm' ? mmText(part * value) : `${numberText(part * value, 0)} px`;
    };
    const length = lengthText(1);
    const summary = make(
      'p',
      { id: 'section-summary' },
      make('b', {}, `Section ${length} long`),
      ` · depth from ${formatDepth(near, info.unit)} to ${formatDepth(far, info.unit)}`,
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
      readout.textContent = `at ${lengthText(this.at)}: ${depth === null ? 'no depth' : formatDepth(depth, info.unit)}`;
      this.host.redraw();
    };
    slider.addEventListener('input', move);
    const width = Math.max(240, this.panel.clientWidth - 26);
    const svg = profilePlot(this.depths, near, far, info, here, length, width);
    svg.addEventListener('pointermove', (event) => {
      const box = svg.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * width;
      const along = (x - plotSize.left) / (width - plotSize.left - plotSize.right);
      slider.value = String(Math.round(Math.max(0, Math.min(1, along)) * (this.depths.length - 1)));
      move();
    });
    this.panel.replaceChildren(
      summary,
      svg,
      make('div', { class: 'row' }, slider, readout),
      ...quantityList(profile),
      this.kept.keeper(() => ({ kind: 'profile', points: [from, to] })),
      this.kept.element,
    );
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
function profilePlot(
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

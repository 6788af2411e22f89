import { axisMarks } from '../markup/axis-marks.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import { shortNumber } from '../result/report/numbers.js';

/** One line of a plot: a value per frame, null where it is not known. */
export interface PlotLine {
  name: string;
  values: readonly (number | null)[];
  /** Class of the style sheet: line-a, line-b. */
  className: 'line-a' | 'line-b';
}

export interface Plot {
  title: string;
  /** Unit and direction of the values. */
  unit: string;
  numbers: readonly number[];
  lines: readonly PlotLine[];
  /** Values that the axis always shows, such as 0. */
  shows: readonly number[];
  /** Numbers of frames that findings name, drawn as bands. */
  marked: ReadonlySet<number>;
}

const drawing = { width: 720, height: 190, left: 62, right: 14, top: 14, bottom: 34 } as const;
const maxFrameLabels = 24;

/** A plot over the frames as SVG, with a title and a sentence for those who cannot see it. */
export function plotMarkup({ title, unit, numbers, lines, shows, marked }: Plot): Markup {
  const known = lines.flatMap(({ values }) => values.filter((value) => value !== null));
  if (known.length === 0) return noMarkup;
  let low = Math.min(...known, ...shows);
  let high = Math.max(...known, ...shows);
  const room = (high - low || Math.abs(high) || 1) * 0.06;
  low -= room;
  high += room;
  const plotWidth = drawing.width - drawing.left - drawing.right;
  const plotHeight = drawing.height - drawing.top - drawing.bottom;
  const pitch = plotWidth / Math.max(1, numbers.length);
  const xOf = (k: number) => drawing.left + (k + 0.5) * pitch;
  const yOf = (value: number) => drawing.top + ((high - value) / (high - low)) * plotHeight;
  const every = Math.ceil(numbers.length / maxFrameLabels);
  const base = drawing.top + plotHeight;
  return html`<figure class="plot">
<figcaption>${title} <span class="quiet">${unit}</span>${lines.length > 1 ? lines.map(({ name, className }) => html` <span class="key ${className}">${name}</span>`) : noMarkup}</figcaption>
<svg role="img" aria-label="${title}, ${unit}, over the frames: from ${shortNumber(Math.min(...known), 3)} to ${shortNumber(Math.max(...known), 3)}." viewBox="0 0 ${drawing.width} ${drawing.height}">
${numbers.map((number, k) => (marked.has(number) ? html`<rect class="marked" x="${fixed(xOf(k) - pitch / 2)}" y="${drawing.top}" width="${fixed(pitch)}" height="${plotHeight}"/>` : noMarkup))}
${axisMarks(low, high)
  .filter((_, i, all) => all.length < 7 || i % 2 === 0)
  .map(
    (value) =>
      html`<line class="grid" x1="${drawing.left}" x2="${drawing.width - drawing.right}" y1="${fixed(yOf(value))}" y2="${fixed(yOf(value))}"/><text x="${drawing.left - 8}" y="${fixed(yOf(value) + 4)}" text-anchor="end">${shortNumber(value, 5)}</text>`,
  )}
${numbers.map((number, k) => (k % every === 0 ? html`<text x="${fixed(xOf(k))}" y="${base + 18}" text-anchor="middle">${number}</text>` : noMarkup))}
${lines.map(
  ({ name, values, className }) => html`<path class="${className}" d="${pathOf(values, xOf, yOf)}"/>
${values.map((value, k) => (value === null ? noMarkup : html`<circle class="${className}" cx="${fixed(xOf(k))}" cy="${fixed(yOf(value))}" r="3"><title>${name}, frame ${numbers[k]}: ${shortNumber(value, 4)}</title></circle>`))}`,
)}
</svg>
</figure>
`;
}

/** A line through the known values, interrupted where one is missing. */
function pathOf(
  values: readonly (number | null)[],
  xOf: (k: number) => number,
  yOf: (value: number) => number,
): string {
  let path = '';
  let isDrawing = false;
  values.forEach((value, k) => {
    if (value === null) {
      isDrawing = false;
      return;
    }
    path += `${isDrawing ? 'L' : 'M'}${fixed(xOf(k))} ${fixed(yOf(value))}`;
    isDrawing = true;
  });
  return path;
}

function fixed(value: number): string {
  return value.toFixed(1);
}

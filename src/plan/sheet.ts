import { htmlPage } from '../markup/html-page.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import { apertureDrawing } from './aperture-drawing.js';
import { cautionOf } from './caution.js';
import { distanceDrawing } from './distance-drawing.js';
import { planDrawingStyle } from './drawing-style.js';
import { framesText } from './number-text.js';
import type { Plan } from './plan.js';
import { planText } from './plan-text.js';
import { sheetTitlePrefix } from './sheet-marks.js';
import { sheetTable } from './sheet-rows.js';
import { sheetStyle } from './sheet-style.js';
import { closeUpDrawing, slabDrawing } from './slab-drawing.js';

/** Format of a sheet: a page to print, or a table. */
export type SheetFormat = 'html' | 'csv';

/**
 * A sheet of the plan's frames to tick off at the camera, with a short caution.
 *
 * @returns The text of the file; positions in mm, distances in m. `merge` takes the CSV as positions.
 */
export function planSheet(plan: Plan, format: SheetFormat): string {
  return format === 'csv' ? csvSheet(plan) : htmlSheet(plan);
}

/** The table first, so that programs can read it up to the first empty line; the caution after it. */
function csvSheet(plan: Plan): string {
  const { keys, rows } = sheetTable(plan);
  const table = [[...keys, 'done'], ...rows.map((row) => [...row, ''])].map((row) => row.join(','));
  const words = [...plan.warnings.map((warning) => `Warning: ${warning}`), ...cautionOf(plan)];
  const quoted = words.map((line) => `"${line.replaceAll('"', '""')}"`);
  return `${[...table, '', ...quoted].join('\r\n')}\r\n`;
}

const pageStyle = `
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 46rem; padding: 1rem; background: #fff; }
@media print { body { max-width: none; padding: 0; } }
`;

function htmlSheet(plan: Plan): string {
  const body = html`<main class="sheet">${sheetMarkup(plan)}</main>`;
  return htmlPage(
    `${sheetTitlePrefix}${sheetTitle(plan)}`,
    `${pageStyle}${sheetStyle}${planDrawingStyle}`,
    body,
    '',
  );
}

function sheetTitle(plan: Plan): string {
  return plan.kind === 'stack' ? 'Positions of the rail' : 'Distances to focus at';
}

/** Width of a sheet's drawings: that of its text. */
const drawingWidth = 700;

/** The sheet to print, to go into an element of class `sheet`, whose style is `sheetStyle` with `planDrawingStyle`. */
export function sheetMarkup(plan: Plan): Markup {
  const { headings, rows } = sheetTable(plan);
  const row = (cells: string[]): Markup =>
    html`<tr>${cells.map((cell) => html`<td>${cell}</td>`)}<td><span class="box"></span></td></tr>\n`;
  return html`<h1>${sheetTitle(plan)}: ${framesText(plan.frames)}</h1>
${plan.warnings.map((warning) => html`<p class="warning"><strong>Warning.</strong> ${warning}</p>\n`)}
<div class="caution"><strong>Caution</strong><ul>${cautionOf(plan).map((line) => html`<li>${line}</li>`)}</ul></div>
${plan.kind === 'stack' ? html`${slabDrawing(plan, drawingWidth, 'sheet')}${closeUpDrawing(plan, drawingWidth)}${howToTurn(plan.knobPerFrame !== null)}` : distanceDrawing(plan, drawingWidth)}
<table>
<thead><tr>${headings.map((heading) => html`<th scope="col">${heading}</th>`)}<th scope="col">Done</th></tr></thead>
<tbody>
${rows.map(row)}</tbody>
</table>
<h2>The plan</h2>
<pre>${planText(plan)}</pre>
${plan.kind === 'stack' ? apertureDrawing(plan, drawingWidth) : noMarkup}
${plan.notes.map((note) => html`<p>${note}</p>\n`)}`;
}

function howToTurn(hasKnob: boolean): Markup {
  return hasKnob
    ? html`<p>Focus on the nearest (or farthest) part of the subject, set the knob to 0, and turn it one way only: turning back brings the play of the thread in.</p>`
    : html`<p>Focus on the nearest (or farthest) part of the subject: that is position 0. Move one way only.</p>`;
}

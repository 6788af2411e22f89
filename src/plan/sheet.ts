import { htmlPage } from '../markup/html-page.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import { benchCaution, fieldCaution } from './caution.js';
import type { Plan } from './plan.js';
import { planText } from './plan-text.js';
import { sheetTitlePrefix } from './sheet-marks.js';
import { sheetTable } from './sheet-rows.js';

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

const style = `
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 46rem; padding: 1rem; background: #fff; color: #111; font: 1rem/1.4 system-ui, sans-serif; }
h1 { font-size: 1.4rem; margin: 0 0 .5rem; }
pre { font-size: .8rem; white-space: pre-wrap; border: 1px solid #bbb; padding: .6rem; }
.warning { border-left: .3rem solid #a65b00; padding: .2rem .8rem; }
.caution { font-size: .85rem; border: 1px solid #111; padding: .4rem .8rem; }
.caution ul { margin: .2rem 0; padding-left: 1.2rem; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { border-bottom: 1px solid #bbb; padding: .25rem .6rem; text-align: right; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
tbody tr:nth-child(5n) td { border-bottom-color: #111; }
.box { display: inline-block; width: 1em; height: 1em; border: 1.5px solid #111; vertical-align: -.15em; }
@media print { body { max-width: none; padding: 0; } }
`;

function htmlSheet(plan: Plan): string {
  const { headings, rows } = sheetTable(plan);
  const title = plan.kind === 'stack' ? 'Positions of the rail' : 'Distances to focus at';
  const row = (cells: string[]): Markup =>
    html`<tr>${cells.map((cell) => html`<td>${cell}</td>`)}<td><span class="box"></span></td></tr>\n`;
  const body = html`<h1>${title}: ${plan.frames} ${plan.frames === 1 ? 'frame' : 'frames'}</h1>
${plan.warnings.map((warning) => html`<p class="warning"><strong>Warning.</strong> ${warning}</p>\n`)}
<div class="caution"><strong>Caution</strong><ul>${cautionOf(plan).map((line) => html`<li>${line}</li>`)}</ul></div>
${plan.kind === 'stack' ? howToTurn(plan.knobPerFrame !== null) : noMarkup}
<table>
<thead><tr>${headings.map((heading) => html`<th>${heading}</th>`)}<th>Done</th></tr></thead>
<tbody>
${rows.map(row)}</tbody>
</table>
<h2>The plan</h2>
<pre>${planText(plan)}</pre>
${plan.notes.map((note) => html`<p>${note}</p>\n`)}`;
  return htmlPage(`${sheetTitlePrefix}${title}`, style, body, '');
}

function howToTurn(hasKnob: boolean): Markup {
  return hasKnob
    ? html`<p>Focus on the nearest (or farthest) part of the subject, set the knob to 0, and turn it one way only: turning back brings the play of the thread in.</p>`
    : html`<p>Focus on the nearest (or farthest) part of the subject: that is position 0. Move one way only.</p>`;
}

function cautionOf(plan: Plan): readonly string[] {
  return plan.kind === 'stack' ? benchCaution : fieldCaution;
}

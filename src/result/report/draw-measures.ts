import { join } from 'node:path';
import { OutputError } from '../../errors.js';
import type { Size } from '../../image/image.js';
import { html, type Markup, noMarkup } from '../../markup/markup.js';
import { fileErrorReason } from '../../stack/file-error.js';
import { readBoundedText } from '../../stack/regular-file.js';
import { readMeasures, type StoredMeasure, stateOfMeasures } from '../measures-file.js';
import { systemCode } from '../output-failure.js';
import { writeAside } from '../output-file.js';
import { readRunRecord } from '../read-run-record.js';
import { isOutdated, kindText, placeText, quantityText } from './measure-words.js';
import { reportFileName } from './write-report.js';

/** Around the section, so that it can be replaced. */
const [start, end] = ['<!-- measures -->', '<!-- end of measures -->'];
/** A report holds its pictures: some megabytes. */
const maxReportBytes = 128e6;

/**
 * Brings the measures in report.html of a result up to date with its measures.json. A report that was removed stays away.
 *
 * @param size Of the composite.
 * @throws InputError when measures.json is damaged; OutputError when the report cannot be written.
 */
export async function drawMeasures(folder: string, size: Size): Promise<void> {
  const path = join(folder, reportFileName);
  let page: string;
  try {
    page = await readBoundedText(path, maxReportBytes);
  } catch (error) {
    if (systemCode(error) === 'ENOENT') return;
    throw new OutputError(
      `The measures are recorded, but cannot be drawn into ${path}: ${fileErrorReason(error)}. Move it out of the result and measure again.`,
      { cause: error },
    );
  }
  const measures = await readMeasures(folder, size);
  const record = await readRunRecord(folder);
  const drawn = withSection(page, measuresSection(measures, stateOfMeasures(record)).text);
  if (drawn !== page) await writeAside(path, drawn);
}

/** The page with this section in the place of the former, or before its frames. */
function withSection(page: string, section: string): string {
  const from = page.indexOf(start);
  const to = page.indexOf(end);
  const marked = section === '' ? '' : `${start}\n${section}\n${end}\n`;
  if (from >= 0 && to > from)
    return page.slice(0, from) + marked + page.slice(to + end.length).replace(/^\n/, '');
  const heading = page.indexOf('<h2>Frames</h2>');
  const before = heading >= 0 ? heading : page.lastIndexOf('</main>');
  return before < 0 ? page : page.slice(0, before) + marked + page.slice(before);
}

function measuresSection(measures: readonly StoredMeasure[], now: string): Markup {
  if (measures.length === 0) return noMarkup;
  const remarks = [...new Set(measures.flatMap((measure) => measure.remarks))];
  return html`<h2>Measures</h2>
<div class="scroll"><table>
<thead><tr><th>No.</th><th>Measure</th><th>Where</th><th>Value</th><th>Note</th></tr></thead>
<tbody>
${measures.map(
  (measure) =>
    html`<tr><td>${measure.id}</td><td>${kindText(measure)}</td><td>${placeText(measure)}</td><td>${measure.quantities.map(
      (quantity, i) => html`${i > 0 ? html`<br>` : noMarkup}${quantity.name}: ${quantityText(quantity)}`,
    )}${isOutdated(measure, now) ? html`<br><strong>Taken before the picture was changed: measure again.</strong>` : noMarkup}</td><td>${measure.note}</td></tr>\n`,
)}</tbody>
</table></div>
<p class="quiet">± reaches over two standard uncertainties: about 95 of 100 true values lie within. It follows from the confidence of the depth, the step, the pixel and the scale.</p>
<ul class="quiet">${remarks.map((remark) => html`<li>${remark}</li>`)}</ul>`;
}

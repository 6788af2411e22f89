import { depthStops } from '../../image/map-colours.js';
import { htmlPage } from '../../markup/html-page.js';
import { html, type Markup, noMarkup } from '../../markup/markup.js';
import { folderName } from '../../stack/folder-name.js';
import { coverageClasses } from '../coverage.js';
import { spoilsMerge } from '../finding.js';
import { framesByDepth } from '../frame-nearness.js';
import { previewText } from '../preview-text.js';
import type { RunRecord } from '../run-record.js';
import { frameTable } from './frame-table.js';
import { depthText, durationText, percentText, shortNumber } from './numbers.js';
import { endNames, railRuler } from './rail-ruler.js';
import { verdicts } from './verdicts.js';

/** Pictures of the report as data URIs. */
export interface ReportPictures {
  composite: string;
  depth: string;
  sources: string;
  confidence: string;
  coverage: string;
}

/** The report as one HTML document. */
export function reportPage(record: RunRecord, pictures: ReportPictures): string {
  const name = folderName(record.folder);
  const title = record.preview ? `${name} (preview)` : name;
  const ruler = railRuler(record);
  const body = html`<header>
<h1>${title}</h1>
<p class="quiet">Merged by Lamella ${record.programVersion} on ${dateText(record.startedAt)} in ${durationText(record.wallMs)}.</p>
${record.preview ? html`<p><strong>Preview.</strong> ${previewText(record.preview)}</p>\n` : noMarkup}</header>
<main>
${verdictPart(record)}
${sentenceList('Warnings', 'warnings', record.warnings)}
<h2>Composite</h2>
<figure>
<img src="${pictures.composite}" alt="The composite, made small">
<figcaption>The whole picture, made small. In full: <a href="${record.composite.file}">${record.composite.file}</a>, ${record.size.width} × ${record.size.height} pixels, ${record.composite.bits} bits.</figcaption>
</figure>
<h2>Maps</h2>
<div class="maps">
${mapFigures(record, pictures)}
</div>
${
  ruler === noMarkup
    ? noMarkup
    : html`<h2>Rail ruler</h2>
<p class="quiet">Each tick is a frame at its plane of focus; the longer the tick, the more of the picture the frame supplied. Depth counts in ${record.maps.depth.unit === 'mm' ? 'millimetres' : 'steps'} from the anchor's plane of focus; the colours are those of the depth picture.</p>
${ruler}`
}
<h2>Frames</h2>
${frameTable(record)}
<h2>The run</h2>
${facts(record)}
${sentenceList('Notes', 'notes', record.notes)}
</main>`;
  return htmlPage(`${title} – Lamella report`, '', body);
}

/** The verdict on the whole, in the colours of all pages, and what follows from it. */
function verdictPart(record: RunRecord): Markup {
  const sentences = verdicts(record);
  const { findings } = record;
  // A record without findings was not judged.
  const [whole, rest] = findings ? [sentences[0], sentences.slice(1)] : [undefined, sentences];
  const kind = findings && spoilsMerge(findings) ? 'unfit' : 'fit';
  return html`${whole === undefined ? noMarkup : html`<p class="verdict ${kind}">${whole}</p>\n`}<ul class="verdicts">
${rest.map((sentence) => html`<li>${sentence}</li>\n`)}</ul>`;
}

/** The colours of depth from near to far: equal steps of lightness, so a few stops are enough. */
const depthRamp = html`<span class="ramp" style="background: linear-gradient(to right, ${depthStops(9).join(', ')})"></span>`;

function mapFigures(record: RunRecord, pictures: ReportPictures): Markup[] {
  const { depth, sources, confidence, coverage } = record.maps;
  const hasDepth = depth.min !== null && depth.max !== null;
  const [near, far] = endNames(record);
  const nearText = hasDepth ? `${near}, ${depthText(depth.min!, depth.unit)}` : near;
  const farText = hasDepth ? `${far}, ${depthText(depth.max!, depth.unit)}` : far;
  const numbers = framesByDepth(record);
  const none = html`<li><span class="swatch hatch"></span>none</li>`;
  return [
    mapFigure('Depth', depth.file, pictures.depth, `Depth in colours, light is ${near}`, [
      html`<li>${nearText} ${depthRamp} ${farText}</li>`,
      none,
    ]),
    mapFigure('Sources', sources.file, pictures.sources, 'Which frame each pixel came from, in colours', [
      html`<li>${near}, frame ${numbers[0]} ${depthRamp} ${far}, frame ${numbers[numbers.length - 1]}</li>`,
      none,
    ]),
    mapFigure(
      'Confidence',
      confidence.file,
      pictures.confidence,
      'Confidence of the depth, white is certain',
      [
        html`<li>unsure <span class="ramp" style="background: linear-gradient(to right, #000, #fff)"></span> certain</li>`,
      ],
    ),
    mapFigure(
      'Coverage',
      coverage.file,
      pictures.coverage,
      'Where the picture was sharp in a frame, and why not elsewhere',
      coverage.classes.map(
        ({ value, name, colour, percent }) =>
          html`<li><span class="swatch" style="background: ${colour}"></span>${name}: ${coverageClasses[value]?.meaning ?? ''} (${percentText(percent)} of the pixels)</li>`,
      ),
      'The shares count pixels of this map. The verdicts above go by larger areas of the reduced frames, as a check does, and may differ from them.',
    ),
  ];
}

function mapFigure(
  title: string,
  file: string,
  picture: string,
  alt: string,
  legend: Markup[],
  note?: string,
): Markup {
  return html`<figure>
<img src="${picture}" alt="${alt}">
<figcaption>${title}: <a href="${file}">${file}</a></figcaption>
<ul class="legend">${legend}</ul>${note === undefined ? noMarkup : html`<p class="quiet">${note}</p>`}
</figure>
`;
}

function sentenceList(title: string, className: string, sentences: string[]): Markup {
  if (!sentences.length) return noMarkup;
  return html`<section class="${className}"><strong>${title}</strong>
<ul>${sentences.map((sentence) => html`<li>${sentence}</li>`)}</ul></section>
`;
}

function facts(record: RunRecord): Markup {
  const stages = Object.entries(record.stagesMs).map(([stage, ms]) => `${stage} ${durationText(ms)}`);
  const rows: [string, string | undefined][] = [
    ['Photographs', record.folder],
    ['Source rule', record.options.rule],
    ['Order of frames', `by ${record.orderedBy}, ${directionText(record)}`],
    ['Frame size', `${record.frameSize.width} × ${record.frameSize.height} pixels, ${record.bits} bits`],
    ['Step', record.stepMm === undefined ? undefined : `${shortNumber(record.stepMm, 4)} mm`],
    [
      'Scale',
      record.mmPerPixel === undefined
        ? undefined
        : `${record.mmPerPixel.toPrecision(4)} mm per pixel at the anchor's plane of focus`,
    ],
    ['Time', stages.join(', ') || undefined],
    ['Full record', 'run.json'],
  ];
  return html`<dl>
${rows.map(([name, value]) => (value === undefined ? noMarkup : html`<dt>${name}</dt><dd>${value}</dd>\n`))}</dl>
`;
}

function directionText({ direction, directionBy }: RunRecord): string {
  if (direction === 'unknown')
    return 'which end is near is not known: depth counts from the first frame to the last';
  const from = {
    option: ', as given',
    'focused distances': ', by the focused distances in the EXIF',
    pictures: ', by far detail seen through blurred near rims',
    growth: ', by how the picture grows or shrinks from frame to frame',
  };
  return `${direction}${directionBy === undefined ? '' : from[directionBy]}`;
}

/** An ISO date as people read it, to the minute; as it stands when it is none. */
function dateText(iso: string): string {
  return iso.replace(/^(\d{4}-\d\d-\d\d)T(\d\d:\d\d).*$/, '$1 $2');
}

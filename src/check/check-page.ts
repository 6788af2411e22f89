import { htmlPage } from '../markup/html-page.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import { folderName } from '../stack/folder-name.js';
import type { CheckedFrame, CheckReport } from './check-report.js';
import { verdictLine } from './check-text.js';
import {
  findingTable,
  frameCaption,
  frameTable,
  markedFrames,
  plots,
  type StripPictures,
  sensorPlot,
  spotMarkup,
} from './page-parts.js';
import { checkPartsStyle } from './page-parts-style.js';
import { checkPageTitleEnd } from './page-title.js';

const style = `${checkPartsStyle}
.strip { display: flex; gap: .4rem; overflow-x: auto; padding: .2rem 0 .6rem; }
.strip figure { flex: none; margin: 0; font-size: .8rem; text-align: center; border-bottom: .3rem solid transparent; position: relative; }
.strip figure.marked { border-color: var(--spoil); }
.strip figure > span { display: block; position: relative; }
.strip img { display: block; height: 96px; width: auto; }
`;

/** The report as one HTML document that needs no other file and no network. */
export function checkPage(report: CheckReport, pictures: StripPictures): string {
  const { findings, frames, folder, fit } = report;
  const title = folderName(folder);
  const marked = markedFrames(findings);
  const body = html`<header>
<h1>${title}</h1>
</header>
<main>
<p class="verdict ${fit ? 'fit' : 'unfit'}">${verdictLine(report)}</p>
${findingTable(findings)}
<h2>Frames</h2>
<p class="quiet">In capture order. Frames that a finding names are underlined; the ring shows the middle of what is sharpest.</p>
<div class="strip" role="region" aria-label="Strip of the frames" tabindex="0">
${frames.map((frame) => stripFigure(frame, pictures.get(frame.number), marked.has(frame.number)))}</div>
<h2>Plots</h2>
<p class="quiet">Over the frames; those that a finding names are shaded.</p>
<div class="plots">
${plots(report, marked)}</div>
${sensorPlot(report, pictures)}
<h2>Frame by frame</h2>
${frameTable(frames)}
</main>`;
  return htmlPage(`${title}${checkPageTitleEnd}`, style, body);
}

function stripFigure(frame: CheckedFrame, picture: string | undefined, isMarked: boolean): Markup {
  if (picture === undefined) return noMarkup;
  const caption = frameCaption(frame);
  return html`<figure class="${isMarked ? 'marked' : ''}" title="${caption}"><span><img src="${picture}" alt="${caption}">${spotMarkup(frame)}</span>${frame.number}</figure>
`;
}

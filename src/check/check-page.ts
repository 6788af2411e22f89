import { basename } from 'node:path';
import { htmlPage } from '../markup/html-page.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import type { Finding, FindingRank } from '../result/finding.js';
import { percentText, shortNumber } from '../result/report/numbers.js';
import type { CheckedFrame, CheckReport } from './check.js';
import { filesText, verdictLine } from './check-text.js';
import { numbersText } from './finding-text.js';
import { plotMarkup } from './page-plots.js';
import { checkPageTitleEnd } from './page-title.js';

/** The picture of a frame as data URI, by its number. */
export type StripPictures = ReadonlyMap<number, string>;

const style = `
.verdict { font-size: 1.15rem; font-weight: 600; padding: .6rem 1rem; border-left: .4rem solid var(--fit); background: var(--fit-paper); }
.verdict.unfit { border-color: var(--spoil); background: var(--spoil-paper); }
:root { --fit: #2f7d4f; --fit-paper: #e8f3ec; --spoil: #b3261e; --spoil-paper: #fbe9e7; --band: #f3d9a4; --a: #0b57a4; --b: #b35a00; }
@media (prefers-color-scheme: dark) { :root { --fit: #7fd6a2; --fit-paper: #16291d; --spoil: #ff8a80; --spoil-paper: #3b1816; --band: #4d3d17; --a: #8fc1ff; --b: #f0b45a; } }
.findings td, .findings th { text-align: left; white-space: normal; vertical-align: top; padding: .5rem .8rem .5rem 0; }
.findings td:nth-child(-n+2) { white-space: nowrap; }
.findings td:nth-child(2) { white-space: normal; min-width: 6rem; }
.rank { display: inline-block; padding: 0 .5rem; border: 1px solid currentColor; border-radius: 1rem; font-size: .85rem; }
.rank.spoils { color: var(--spoil); font-weight: 700; }
.rank.flaw { color: var(--b); }
.rank.note { color: var(--quiet); }
.advice { color: var(--quiet); }
.strip { display: flex; gap: .4rem; overflow-x: auto; padding: .2rem 0 .6rem; }
.strip figure { flex: none; margin: 0; font-size: .8rem; text-align: center; border-bottom: .3rem solid transparent; position: relative; }
.strip figure.marked { border-color: var(--spoil); }
.strip img { display: block; height: 96px; width: auto; }
.strip .spot { position: absolute; width: 14px; height: 14px; margin: -7px 0 0 -7px; border: 2px solid #fff; outline: 1px solid #000; border-radius: 50%; }
.plots { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 32rem), 1fr)); gap: .4rem 1.4rem; }
.plot figcaption { color: var(--ink); font-weight: 600; }
.plot figcaption .quiet { font-weight: 400; }
.plot svg { width: 100%; height: auto; font-size: 12px; }
.plot text { fill: var(--quiet); }
.plot .grid { stroke: var(--line); }
.plot .marked { fill: var(--band); }
.plot path { fill: none; stroke-width: 2; }
.plot path.line-a { stroke: var(--a); }
.plot path.line-b { stroke: var(--b); stroke-dasharray: 6 3; }
.plot circle.line-a { fill: var(--a); }
.plot circle.line-b { fill: var(--b); }
.key { font-weight: 400; font-size: .85rem; margin-left: .8rem; }
.key.line-a::before { content: '\\25CF '; color: var(--a); }
.key.line-b::before { content: '\\25CF '; color: var(--b); }
.sensor { width: 100%; max-width: 30rem; height: auto; }
.sensor .plane { fill: none; stroke: var(--quiet); }
.sensor circle { fill: none; stroke: var(--spoil); stroke-width: 2; }
.sensor text { fill: var(--ink); font-size: 12px; }
`;

const rankMeaning: Record<FindingRank, string> = {
  spoils: 'spoils the merge',
  flaw: 'flaw',
  note: 'note',
};

/** The report as one HTML document that needs no other file and no network. */
export function checkPage(report: CheckReport, pictures: StripPictures): string {
  const { findings, frames, folder, fit } = report;
  const title = basename(folder);
  const marked = new Set(findings.flatMap(({ rank, frames: named }) => (rank === 'note' ? [] : named)));
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

function findingTable(findings: readonly Finding[]): Markup {
  if (findings.length === 0) return html`<p>Nothing was found amiss.</p>`;
  return html`<div class="wide"><table class="findings">
<thead><tr><th scope="col">Rank</th><th scope="col">Frames</th><th scope="col">Verdict, and what to do</th></tr></thead>
<tbody>
${findings.map(
  ({ rank, frames, files = [], message, advice }) =>
    html`<tr><td><span class="rank ${rank}">${rankMeaning[rank]}</span></td><td>${frames.length > 0 ? numbersText(frames) : 'all'}</td><td>${message}${files.length > 0 ? html`<br><span class="advice">Files: ${filesText(files)}</span>` : noMarkup}${advice ? html`<br><span class="advice">${advice}</span>` : noMarkup}</td></tr>
`,
)}</tbody>
</table></div>`;
}

function stripFigure(frame: CheckedFrame, picture: string | undefined, isMarked: boolean): Markup {
  const { number, name, centre, part, sharpestPercent } = frame;
  if (picture === undefined) return noMarkup;
  const caption = `Frame ${number}, ${name}: ${centre ? `${percentText(sharpestPercent)} of the detail is sharpest here, ${part}` : 'nothing is sharpest here'}`;
  const spot = centre
    ? html`<span class="spot" style="left: ${shortNumber(100 * centre.x, 1)}%; top: ${shortNumber(96 * centre.y, 0)}px"></span>`
    : noMarkup;
  return html`<figure class="${isMarked ? 'marked' : ''}" title="${caption}"><img src="${picture}" alt="${caption}">${spot}${number}</figure>
`;
}

function plots({ frames }: CheckReport, marked: ReadonlySet<number>): Markup[] {
  const numbers = frames.map(({ number }) => number);
  const all = { numbers, marked };
  const known = (read: (frame: CheckedFrame) => number) =>
    frames.map((frame) => (frame.usable ? read(frame) : null));
  return [
    plotMarkup({
      ...all,
      title: 'Step',
      unit: 'from the frame before, in usual steps',
      shows: [0, 1],
      lines: [{ name: 'step', values: frames.map(({ travelSteps }) => travelSteps), className: 'line-a' }],
    }),
    plotMarkup({
      ...all,
      title: 'Sharpest here',
      unit: 'share of the detail, %',
      shows: [0],
      lines: [
        { name: 'share', values: frames.map(({ sharpestPercent }) => sharpestPercent), className: 'line-a' },
      ],
    }),
    plotMarkup({
      ...all,
      title: 'Scale',
      unit: 'to the middle frame, parts in a thousand',
      shows: [0],
      lines: [{ name: 'scale', values: known(({ scale }) => 1000 * (scale - 1)), className: 'line-a' }],
    }),
    plotMarkup({
      ...all,
      title: 'Shift',
      unit: 'to the middle frame, px',
      shows: [0],
      lines: [
        { name: 'to the right', values: known(({ shiftXPx }) => shiftXPx), className: 'line-a' },
        { name: 'down', values: known(({ shiftYPx }) => shiftYPx), className: 'line-b' },
      ],
    }),
    plotMarkup({
      ...all,
      title: 'Light',
      unit: 'against the middle frame, %',
      shows: [0],
      lines: [{ name: 'light', values: known(({ light }) => 100 * (light - 1)), className: 'line-a' }],
    }),
    plotMarkup({
      ...all,
      title: 'Shake',
      unit: 'detail lost in one direction, ln energy',
      shows: [0, 0.2],
      lines: [{ name: 'uneven loss', values: frames.map(({ uneven }) => uneven), className: 'line-a' }],
    }),
    plotMarkup({
      ...all,
      title: 'Clipped',
      unit: 'share of the pixels, %',
      shows: [0, 1],
      lines: [
        { name: 'burnt', values: frames.map(({ burntPercent }) => burntPercent), className: 'line-a' },
        { name: 'black', values: frames.map(({ blockedPercent }) => blockedPercent), className: 'line-b' },
      ],
    }),
  ];
}

/** Map of dust and hot pixels. */
function sensorPlot({ findings, frames, size }: CheckReport, pictures: StripPictures): Markup {
  const spots = findings.flatMap(({ kind, spots: own }) =>
    kind === 'dust' || kind === 'hot-pixels' ? (own ?? []) : [],
  );
  if (spots.length === 0) return noMarkup;
  const width = 480;
  const height = Math.round((width * size.height) / size.width);
  const scale = width / size.width;
  const middle = pictures.get(frames[frames.length >> 1].number);
  return html`<h2>On the sensor</h2>
<p class="quiet">Dust and hot pixels, as the frames show them upright, over the middle frame.</p>
<svg class="sensor" role="img" aria-label="${spots.length} spots on the sensor" viewBox="-1 -1 ${width + 2} ${height + 2}">
${middle === undefined ? noMarkup : html`<image href="${middle}" width="${width}" height="${height}" opacity="0.55" preserveAspectRatio="none"/>`}
<rect class="plane" x="0" y="0" width="${width}" height="${height}"/>
${spots.map(({ x, y }) => html`<g><title>x ${x}, y ${y}</title><circle cx="${shortNumber(x * scale, 1)}" cy="${shortNumber(y * scale, 1)}" r="7"/></g>`)}
</svg>`;
}

function frameTable(frames: readonly CheckedFrame[]): Markup {
  return html`<div class="wide" role="region" aria-label="Table of frames" tabindex="0">
<table>
<thead><tr><th scope="col">No.</th><th scope="col" class="name">File</th><th scope="col" class="name">Sharpest</th><th scope="col">Share %</th><th scope="col">Step</th><th scope="col">Scale</th><th scope="col">Shift x, y px</th><th scope="col">Roll °</th><th scope="col">Light %</th><th scope="col">Burnt %</th><th scope="col">Black %</th></tr></thead>
<tbody>
${frames.map(
  (frame) =>
    html`<tr><td>${frame.number}</td><td class="name">${frame.name}</td><td class="name">${frame.part}</td><td>${frame.sharpestPercent.toFixed(1)}</td><td>${frame.travelSteps === null ? '–' : frame.travelSteps.toFixed(2)}</td><td>${frame.usable ? frame.scale.toFixed(5) : '–'}</td><td>${frame.usable ? `${frame.shiftXPx.toFixed(1)}, ${frame.shiftYPx.toFixed(1)}` : '–'}</td><td>${frame.usable ? frame.rollDeg.toFixed(3) : '–'}</td><td>${(100 * (frame.light - 1)).toFixed(1)}</td><td>${frame.burntPercent.toFixed(2)}</td><td>${frame.blockedPercent.toFixed(2)}</td></tr>
`,
)}</tbody>
</table>
</div>`;
}

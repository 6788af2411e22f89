import { html, type Markup, noMarkup } from '../markup/markup.js';
import type { Finding, FindingRank } from '../result/finding.js';
import { percentText, shortNumber } from '../result/report/numbers.js';
import type { CheckedFrame, CheckReport } from './check-report.js';
import { filesText } from './check-text.js';
import { numbersText } from './finding-text.js';
import { plotMarkup } from './page-plots.js';

/** The picture of a frame by its number: an address, or a data URI. */
export type StripPictures = ReadonlyMap<number, string>;

/** Ranks as people read them on a page. */
export const rankMeaning: Record<FindingRank, string> = {
  spoils: 'spoils the merge',
  flaw: 'flaw',
  note: 'note',
};

/** Numbers of the frames that findings name, but for those of notes. */
export function markedFrames(findings: readonly Finding[]): Set<number> {
  return new Set(findings.flatMap(({ rank, frames }) => (rank === 'note' ? [] : frames)));
}

/** A frame of the strip in a sentence. */
export function frameCaption({ number, name, centre, part, sharpestPercent }: CheckedFrame): string {
  const sharpest = centre
    ? `${percentText(sharpestPercent)} of the detail is sharpest here, ${part}`
    : 'nothing is sharpest here';
  return `Frame ${number}, ${name}: ${sharpest}`;
}

/** A ring over a picture of the strip, about the middle of what is sharpest. */
export function spotMarkup({ centre }: CheckedFrame): Markup {
  if (!centre) return noMarkup;
  const place = html`cx="${shortNumber(100 * centre.x, 1)}%" cy="${shortNumber(100 * centre.y, 1)}%"`;
  return html`<svg class="spot" aria-hidden="true"><circle class="under" ${place} r="7"/><circle ${place} r="7"/></svg>`;
}

/** The findings, the gravest first. */
export function findingTable(findings: readonly Finding[]): Markup {
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

/** Plots over the frames; `marked` are shaded. */
export function plots({ frames }: CheckReport, marked: ReadonlySet<number>): Markup[] {
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
export function sensorPlot({ findings, frames, size }: CheckReport, pictures: StripPictures): Markup {
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

/** All that was measured, a row for each frame. */
export function frameTable(frames: readonly CheckedFrame[]): Markup {
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

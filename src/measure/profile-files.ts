import { html, type Markup, noMarkup } from '../markup/markup.js';
import { significantNumber } from '../result/report/numbers.js';
import type { Profile } from './profile.js';

/** First column of a profile's table, by which it is known again. */
export const profileTableMark = 'lamella_profile_along';
/** By this a drawing of a profile is known again. */
export const profileDrawingMark = 'Lamella profile';

/** A profile as CSV (RFC 4180); heights and their standard uncertainties are empty where they are not known. */
export function profileCsv({ samples, unit }: Profile): string {
  const heading = [
    `${profileTableMark}_${unit.along}`,
    `height_${unit.height}`,
    `sigma_${unit.height}`,
    'x_px',
    'y_px',
  ];
  const lines = samples.map(({ along, height, sigma, x, y }) => [
    number(along),
    number(height),
    number(sigma),
    number(x),
    number(y),
  ]);
  return [heading, ...lines].map((cells) => `${cells.join(',')}\r\n`).join('');
}

function number(value: number): string {
  return Number.isFinite(value) ? significantNumber(value, 8) : '';
}

const size = { width: 800, height: 320, left: 80, right: 20, top: 20, bottom: 50 } as const;

/** A profile as a drawing: toward the camera is up. A band shows two standard uncertainties. */
export function profileSvg({ samples, unit }: Profile): string {
  const inside = samples.filter(({ height }) => Number.isFinite(height));
  const low = Math.min(...inside.map(({ height, sigma }) => height - 2 * sigma));
  const high = Math.max(...inside.map(({ height, sigma }) => height + 2 * sigma));
  const length = samples[samples.length - 1].along || 1;
  const hasHeights = inside.length > 0;
  const span = hasHeights && high > low ? high - low : 1;
  const x = (along: number) => size.left + (along / length) * (size.width - size.left - size.right);
  const y = (height: number) =>
    size.height -
    size.bottom -
    ((height - (hasHeights ? low : 0)) / span) * (size.height - size.top - size.bottom);
  const runs = runsOf(samples.map(({ height }) => Number.isFinite(height)));
  const at = (i: number, height: number) => `${x(samples[i].along).toFixed(2)},${y(height).toFixed(2)}`;
  const bands = runs.map(([from, to]) => {
    const indices = Array.from({ length: to - from }, (_, k) => from + k);
    const upper = indices.map((i) => at(i, samples[i].height + 2 * samples[i].sigma));
    const lower = indices.reverse().map((i) => at(i, samples[i].height - 2 * samples[i].sigma));
    return html`<polygon points="${[...upper, ...lower].join(' ')}" fill="#cfe0ee"/>\n`;
  });
  const lines = runs.map(([from, to]) => {
    const points = Array.from({ length: to - from }, (_, k) => at(from + k, samples[from + k].height));
    return html`<polyline points="${points.join(' ')}" fill="none" stroke="#1d4e79" stroke-width="1.5"/>\n`;
  });
  const marks = (hasHeights ? roundMarks(low, high, 5) : []).map(
    (mark) =>
      html`<line x1="${size.left}" x2="${size.width - size.right}" y1="${y(mark).toFixed(2)}" y2="${y(mark).toFixed(2)}" stroke="#ddd"/><text x="${size.left - 8}" y="${(y(mark) + 4).toFixed(2)}" text-anchor="end">${significantNumber(mark, 6)}</text>\n`,
  );
  const feet = roundMarks(0, length, 8).map(
    (mark) =>
      html`<line x1="${x(mark).toFixed(2)}" x2="${x(mark).toFixed(2)}" y1="${size.height - size.bottom}" y2="${size.height - size.bottom + 5}" stroke="#444"/><text x="${x(mark).toFixed(2)}" y="${size.height - size.bottom + 20}" text-anchor="middle">${significantNumber(mark, 6)}</text>\n`,
  );
  const empty: Markup = hasHeights
    ? noMarkup
    : html`<text x="${size.width / 2}" y="${size.height / 2}" text-anchor="middle">No depth that may be trusted is known along this line.</text>\n`;
  const unitName = (name: string) => (name === 'step' ? 'steps' : name);
  const drawing = html`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${size.width} ${size.height}" font-family="sans-serif" font-size="12">
<title>${profileDrawingMark}</title>
<rect width="${size.width}" height="${size.height}" fill="#fff"/>
${bands}${marks}${feet}${lines}${empty}<rect x="${size.left}" y="${size.top}" width="${size.width - size.left - size.right}" height="${size.height - size.top - size.bottom}" fill="none" stroke="#444"/>
<text x="${size.width / 2}" y="${size.height - 10}" text-anchor="middle">along the line, ${unitName(unit.along)}</text>
<text x="16" y="${size.height / 2}" text-anchor="middle" transform="rotate(-90 16 ${size.height / 2})">height toward the camera, ${unitName(unit.height)}</text>
</svg>
`;
  return `<?xml version="1.0" encoding="UTF-8"?>\n${drawing.text}`;
}

/** Where values follow each other without a gap: [from, to) of each. */
function runsOf(isThere: readonly boolean[]): [from: number, to: number][] {
  const runs: [number, number][] = [];
  isThere.forEach((there, i) => {
    if (!there) return;
    const last = runs.at(-1);
    if (last && last[1] === i) last[1] = i + 1;
    else runs.push([i, i + 1]);
  });
  return runs;
}

/** Round values between two, some `count` of them. */
function roundMarks(low: number, high: number, count: number): number[] {
  const rough = (high - low) / count;
  if (!(rough > 0)) return [low];
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((factor) => factor * power).find((size) => size >= rough)!;
  const first = Math.ceil(low / step);
  return Array.from({ length: Math.floor(high / step) - first + 1 }, (_, i) => (first + i) * step);
}

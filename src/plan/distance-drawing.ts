import { depthColour } from '../image/map-colours.js';
import { logAxisMarks } from '../markup/axis-marks.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import type { FocusFrame, LandscapePlan } from './landscape-plan.js';
import { distanceText, framesText, significant } from './number-text.js';

/** Distances from the top; the width is the caller's. */
const layout = { side: 20, top: 34, rowHeight: 38, rowGap: 8, axisGap: 18, height: 172 } as const;
/** Distance of frame numbers, and of labels of the axis. */
const numberDistance = 26;
const labelDistance = 44;
/** Zones that lie closer than this are drawn several at a time. */
const minZonePx = 3;
/** Farthest distance that the axis labels, m; beyond it comes infinity. */
const farthestLabelM = 10_000;

/** What a frame shows sharp, in 1/m from the lens: 0 is infinity. */
interface Zone {
  frame: number;
  focus: number;
  near: number;
  far: number;
}

/**
 * What the frames of a landscape show sharp, from the nearest to infinity, neighbours in rows of their own so that their
 * overlap shows. To scale of 1/distance: there all depths of field are equally wide, up to the focal length against the
 * distance, and so is the travel of the lens between them. Colours are those of depth.
 *
 * @param width Drawing units, at best the px that the drawing has; from 300.
 */
export function distanceDrawing(plan: LandscapePlan, width: number): Markup {
  const zones = plan.focus.map(zoneOf);
  const scene = { near: 1 / plan.nearM, far: plan.farM === null ? 0 : 1 / plan.farM };
  const low = Math.min(scene.far, zones[zones.length - 1].far);
  const high = Math.max(scene.near, zones[0].near);
  const scale = (width - 2 * layout.side) / (high - low);
  const xOf = (inverse: number): number => layout.side + (high - inverse) * scale;
  const drawn = joined(zones, scale);
  const { top, rowHeight, rowGap } = layout;
  const yOf = (i: number): number => top + (i % 2) * (rowHeight + rowGap);
  const bottom = top + 2 * rowHeight + rowGap;
  const shares = drawn.length === zones.length ? zones.slice(1).map((zone, k) => [zones[k], zone]) : [];
  return html`<svg class="slabs" role="img" aria-label="${distanceSentence(plan)}" viewBox="0 0 ${width} ${layout.height}">
<text x="${layout.side}" y="13">nearest: ${distanceText(plan.nearM)}</text><text x="${width - layout.side}" y="13" text-anchor="end">farthest: ${distanceText(plan.farM)}</text>
${shares.map(([before, zone]) => (zone.near > before.far ? html`<rect class="overlap" x="${fixed(xOf(zone.near))}" y="${top}" width="${fixed((zone.near - before.far) * scale)}" height="${bottom - top}"/>` : noMarkup))}
${drawn.map((zone, i) => zoneMarkup(zone, i === 0 ? 0 : drawn[i - 1].frame, depthOf(zone, scene), xOf, yOf(i)))}
<path class="outline" d="M${fixed(xOf(scene.near))} ${top - 4}V${bottom + 4}M${fixed(xOf(scene.far))} ${top - 4}V${bottom + 4}"/>
${numbers(drawn, xOf).map(({ frame, x }) => html`<text x="${fixed(x)}" y="${top - 8}" text-anchor="middle">${frame}</text>`)}
${axis(low, high, xOf, bottom + 8)}
<text x="${layout.side}" y="${layout.height - 6}">distance from the lens, to scale of 1/distance</text>
</svg>
`;
}

/** The drawing in a sentence, for those who cannot see it. */
export function distanceSentence({ frames, focus, nearM, farM }: LandscapePlan): string {
  const range = `From ${distanceText(nearM)} to ${distanceText(farM)} in ${framesText(frames)}`;
  if (frames < 2) return `${range}, focused at ${distanceText(focus[0].focusM)}.`;
  const [first, second] = focus.map(zoneOf);
  const shared = (100 * (second.near - first.far)) / (first.near - first.far);
  return `${range}, focused at ${distanceText(focus[0].focusM)} first and at ${distanceText(focus[frames - 1].focusM)} last; neighbours share ${significant(shared, 2)} % of what they show sharp, counted in 1/distance.`;
}

function zoneOf({ frame, focusM, nearM, farM }: FocusFrame): Zone {
  return { frame, focus: 1 / focusM, near: 1 / nearM, far: farM === null ? 0 : 1 / farM };
}

/** Zones one by one; several as one, named by the last of them, where they are too thin to tell apart. */
function joined(zones: readonly Zone[], scale: number): Zone[] {
  const each = zones.length < 2 ? Infinity : (zones[0].focus - zones[1].focus) * scale;
  const count = Math.max(1, Math.ceil(minZonePx / each));
  return Array.from({ length: Math.ceil(zones.length / count) }, (_, i) => {
    const first = zones[i * count];
    const last = zones[Math.min(zones.length, (i + 1) * count) - 1];
    return { frame: last.frame, focus: (first.focus + last.focus) / 2, near: first.near, far: last.far };
  });
}

/** Share of the scene in front of a zone's plane of focus, 0 to 1. */
function depthOf({ focus }: Zone, { near, far }: { near: number; far: number }): number {
  return Math.min(1, Math.max(0, (near - focus) / (near - far)));
}

/** @param before Number of the last frame of the zone drawn before. */
function zoneMarkup(
  { frame, focus, near, far }: Zone,
  before: number,
  depth: number,
  xOf: (inverse: number) => number,
  y: number,
): Markup {
  const x = fixed(xOf(near));
  const wide = fixed(xOf(far) - xOf(near));
  const height = layout.rowHeight;
  const at = fixed(xOf(focus));
  const name = frame - before > 1 ? `Frames ${before + 1} to ${frame}` : `Frame ${frame}`;
  const from = `${distanceText(1 / near)} to ${distanceText(far > 0 ? 1 / far : null)}`;
  return html`<g><title>${name}: focused at ${distanceText(1 / focus)}, sharp from ${from}</title><rect class="slab" x="${x}" y="${y}" width="${wide}" height="${height}" fill="rgb(${depthColour(1 - depth).join(' ')})"/><rect class="edge" x="${x}" y="${y}" width="${wide}" height="${height}"/><line class="focus" x1="${at}" x2="${at}" y1="${y}" y2="${y + height}"/></g>`;
}

/** The first and the last frame, and as many between them as there is room for. */
function numbers(zones: readonly Zone[], xOf: (inverse: number) => number): { frame: number; x: number }[] {
  const all = zones.map(({ frame, focus }) => ({ frame, x: xOf(focus) }));
  const last = all[all.length - 1];
  const kept = all.slice(0, 1);
  for (const one of all.slice(1, -1)) {
    if (one.x - kept[kept.length - 1].x >= numberDistance && last.x - one.x >= numberDistance) kept.push(one);
  }
  return last.x - kept[kept.length - 1].x >= numberDistance ? [...kept, last] : kept;
}

/** A ruler in metres: 1, 2 and 5 times powers of ten where there is room, from infinity on. */
function axis(low: number, high: number, xOf: (inverse: number) => number, y: number): Markup {
  const nearest = 1 / high;
  const farthest = Math.min(low > 0 ? 1 / low : Infinity, farthestLabelM);
  const marks = low === 0 ? [Infinity] : [];
  for (const metres of farthest > nearest ? logAxisMarks(nearest, farthest).reverse() : []) {
    const last = marks[marks.length - 1];
    if (last === undefined || xOf(1 / last) - xOf(1 / metres) >= labelDistance) marks.push(metres);
  }
  return html`<line class="axis" x1="${fixed(xOf(high))}" x2="${fixed(xOf(low))}" y1="${y}" y2="${y}"/>
${marks.map((metres) => {
  const x = fixed(xOf(1 / metres));
  return html`<line class="axis" x1="${x}" x2="${x}" y1="${y}" y2="${y + 4}"/><text x="${x}" y="${y + layout.axisGap}" text-anchor="middle">${metres === Infinity ? '∞' : `${significant(metres)} m`}</text>`;
})}`;
}

function fixed(value: number): string {
  return value.toFixed(2);
}

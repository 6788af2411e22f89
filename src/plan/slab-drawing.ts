import { depthColour } from '../image/map-colours.js';
import { axisMarks } from '../markup/axis-marks.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import { framesText, lengthText, significant } from './number-text.js';
import { type Slab, slabOf, slabsOf } from './slabs.js';
import type { StackPlan } from './stack-plan.js';

/** Heights and distances of the drawings, from their tops; the width is the caller's. */
const layout = {
  side: 14,
  subjectTop: 34,
  subjectHeight: 96,
  tickLength: 7,
  axisGap: 18,
  height: 160,
} as const;

const closeUp = { top: 24, rowHeight: 15, rowGap: 4, height: 168 } as const;

/** Frames of the close-up, and how much of the depth beside their planes of focus it shows, in depths of field. */
const closeUpFrames = 4;
const closeUpMargin = 0.6;
/** Distance of numbers along an axis. */
const labelDistance = 26;
/** Slabs narrower than this many px run into one another: bands of several are drawn as one. */
const minSlabPx = 1.5;
/** Distance of ticks; of frames closer than that each second, third, ... has one. */
const minTickPx = 2;

/**
 * The depth of the subject, a dome that faces the camera on the left, cut into the slabs that the frames show sharp, to
 * scale; a tick at every plane of focus. Colours are those of depth.
 *
 * @param width Drawing units, at best the px that the drawing has; from 300.
 * @param id Of the drawing in its document.
 */
export function slabDrawing(plan: StackPlan, width: number, id = 'slabs'): Markup {
  return html`<svg class="slabs" role="img" aria-label="${slabSentence(plan)}" viewBox="0 0 ${width} ${layout.height}">
${subjectPart(plan, width, id)}
</svg>
`;
}

/**
 * Some neighbouring slabs as large as the width allows, each in a row of its own, so that their overlap shows; the length
 * of a slab and of the step beside them.
 *
 * @param width As above.
 */
export function closeUpDrawing(plan: StackPlan, width: number): Markup {
  return html`<svg class="slabs" role="img" aria-label="${closeUpSentence(plan)}" viewBox="0 0 ${width} ${closeUp.height}">
${closeUpPart(plan, width)}
</svg>
`;
}

/** The drawing in a sentence, for those who cannot see it. */
export function slabSentence({ frames, depth, step, options }: StackPlan): string {
  const rest =
    step.gapMm > 0
      ? `with gaps of ${lengthText(step.gapMm)} that no frame shows sharp`
      : `each covering ${significant(step.overlapPercent)} % of the one before again`;
  const slabs = `${framesText(frames)}, each sharp over ${lengthText(depth.combined.totalMm)}`;
  return `${lengthText(options.depthMm as number)} of subject in ${slabs}, ${lengthText(step.mm)} from one to the next, ${rest}.`;
}

function closeUpSentence({ depth, step }: StackPlan): string {
  const between =
    step.gapMm > 0 ? `a gap of ${lengthText(step.gapMm)}` : `${significant(step.overlapPercent)} % overlap`;
  return `Neighbouring frames: sharp over ${lengthText(depth.combined.totalMm)}, a step of ${lengthText(step.mm)}, ${between}.`;
}

function subjectPart(plan: StackPlan, width: number, id: string): Markup {
  const slabs = slabsOf(plan);
  const depthMm = plan.options.depthMm as number;
  const fromMm = Math.min(0, slabs[0].fromMm);
  const toMm = Math.max(depthMm, slabs[slabs.length - 1].toMm);
  const scale = (width - 2 * layout.side) / (toMm - fromMm);
  const xOf = (mm: number): number => layout.side + (mm - fromMm) * scale;
  const { subjectTop: top, subjectHeight: height } = layout;
  const middle = top + height / 2;
  const base = top + height + layout.tickLength;
  const [left, right] = [xOf(0), xOf(depthMm)];
  const radius = right - left;
  // A half ellipse, cut off at its back.
  const dome = `M${fixed(right)} ${fixed(top)}A${fixed(radius)} ${fixed(height / 2)} 0 0 0 ${fixed(left)} ${fixed(middle)}A${fixed(radius)} ${fixed(height / 2)} 0 0 0 ${fixed(right)} ${fixed(top + height)}Z`;
  const stepPx = plan.step.mm * scale;
  const every = Math.max(1, Math.ceil(labelDistance / stepPx));
  const isLabelled = (k: number): boolean =>
    k === slabs.length - 1 || (k % every === 0 && slabs.length - 1 - k >= every);
  const tickEvery = Math.max(1, Math.ceil(minTickPx / stepPx));
  const ticks = slabs.filter((_, k) => k % tickEvery === 0);
  return html`<defs><clipPath id="${id}-dome"><path d="${dome}"/></clipPath><g id="${id}-all">${bands(slabs, scale).map((band) => slabRect(band, depthMm, xOf, top, height))}</g></defs>
<text x="${layout.side}" y="13">near, the camera’s side</text><text x="${width - layout.side}" y="13" text-anchor="end">far</text>
<use class="faint" href="#${id}-all"/>
<g clip-path="url(#${id}-dome)"><use href="#${id}-all"/></g>
<path class="outline" d="${dome}"/>
<path class="ticks" d="${ticks.map(({ focusMm }) => `M${fixed(xOf(focusMm))} ${top + height}v${layout.tickLength}`).join('')}"/>
${slabs.map(({ frame, focusMm }, k) => (isLabelled(k) ? html`<text x="${fixed(xOf(focusMm))}" y="${top - 6}" text-anchor="middle">${frame}</text>` : noMarkup))}
${axis(0, depthMm, xOf, base, (right - left) / 70)}`;
}

/** Slabs one by one; several as one where they are too thin to tell apart. */
function bands(slabs: readonly Slab[], scale: number): Slab[] {
  if (slabs.length < 2) return [...slabs];
  const each = (slabs[1].focusMm - slabs[0].focusMm) * scale;
  const count = Math.max(1, Math.ceil(minSlabPx / each));
  if (count === 1) return [...slabs];
  return Array.from({ length: Math.ceil(slabs.length / count) }, (_, i) => {
    const first = slabs[i * count];
    const last = slabs[Math.min(slabs.length, (i + 1) * count) - 1];
    return { ...first, focusMm: (first.focusMm + last.focusMm) / 2, toMm: last.toMm };
  });
}

function closeUpPart(plan: StackPlan, width: number): Markup {
  const { frames, step, depth, options } = plan;
  const count = Math.min(closeUpFrames, frames);
  const first = Math.floor((frames - count) / 2) + 1;
  const slabs = Array.from({ length: count }, (_, k) => slabOf(plan, first + k));
  const { totalMm } = depth.combined;
  const fromMm = slabs[0].focusMm - closeUpMargin * totalMm;
  const toMm = slabs[count - 1].focusMm + closeUpMargin * totalMm;
  const scale = (width - 2 * layout.side) / (toMm - fromMm);
  const xOf = (mm: number): number => layout.side + (mm - fromMm) * scale;
  const top = closeUp.top;
  const pitch = closeUp.rowHeight + closeUp.rowGap;
  const bottom = top + closeUpFrames * pitch;
  const depthMm = options.depthMm as number;
  const wholeMm = Math.max(depthMm, (frames - 1) * step.mm) + totalMm;
  const times = wholeMm / (toMm - fromMm);
  const title =
    count === frames
      ? 'Each frame'
      : `Frames ${first} to ${first + count - 1}, ${significant(Math.max(1, times), 2)} times as large`;
  return html`<text class="title" x="${layout.side}" y="${top - 10}">${title}</text>
${between(slabs).map(({ fromMm: from, toMm: to, kind }, k) => html`<rect class="${kind}" x="${fixed(xOf(from))}" y="${top + k * pitch}" width="${fixed((to - from) * scale)}" height="${2 * pitch - closeUp.rowGap}"/>`)}
${slabs.map((slab, k) => {
  const y = top + k * pitch;
  const x = fixed(xOf(slab.focusMm));
  return html`<g><title>Frame ${slab.frame}: sharp over ${lengthText(slab.toMm - slab.fromMm)}</title>${slabRect(slab, depthMm, xOf, y, closeUp.rowHeight)}<rect class="edge" x="${fixed(xOf(slab.fromMm))}" y="${y}" width="${fixed((slab.toMm - slab.fromMm) * scale)}" height="${closeUp.rowHeight}"/><line class="focus" x1="${x}" x2="${x}" y1="${y}" y2="${y + closeUp.rowHeight}"/></g>`;
})}
${measures(plan, slabs, xOf, bottom)}`;
}

/** What two neighbouring slabs share, or leave between them. */
function between(slabs: readonly Slab[]): { fromMm: number; toMm: number; kind: 'overlap' | 'gap' }[] {
  return slabs.slice(1).map((slab, k) => {
    const before = slabs[k];
    return slab.fromMm < before.toMm
      ? { fromMm: slab.fromMm, toMm: before.toMm, kind: 'overlap' }
      : { fromMm: before.toMm, toMm: slab.fromMm, kind: 'gap' };
  });
}

/** Lengths with arrows below the close-up: the slab of one frame, and the step to the next. */
function measures(
  { step, depth }: StackPlan,
  slabs: readonly Slab[],
  xOf: (mm: number) => number,
  top: number,
): Markup {
  const [first, second] = slabs;
  const last = slabs[slabs.length - 1];
  const sharp = `sharp over ${lengthText(depth.combined.totalMm)}`;
  return html`${second === undefined ? noMarkup : dimension(xOf(first.focusMm), xOf(second.focusMm), top + 10, `step ${lengthText(step.mm)}`, 'end')}
${dimension(xOf(last.fromMm), xOf(last.toMm), top + 38, sharp, 'start')}`;
}

/** A length between two bars, its text beside one of them. */
function dimension(x1: number, x2: number, y: number, text: string, side: 'start' | 'end'): Markup {
  const [x, anchor] = side === 'end' ? [x2 + 8, 'start'] : [x1 - 8, 'end'];
  return html`<path class="dimension" d="M${fixed(x1)} ${y - 5}v10M${fixed(x1)} ${y}H${fixed(x2)}M${fixed(x2)} ${y - 5}v10"/>
<text x="${fixed(x)}" y="${y + 4}" text-anchor="${anchor}">${text}</text>`;
}

function slabRect(
  { fromMm, toMm, focusMm }: Slab,
  depthMm: number,
  xOf: (mm: number) => number,
  y: number,
  height: number,
): Markup {
  const colour = depthColour(1 - focusMm / depthMm).join(' ');
  const x = xOf(fromMm);
  return html`<rect class="slab" x="${fixed(x)}" y="${y}" width="${fixed(xOf(toMm) - x)}" height="${height}" fill="rgb(${colour})"/>`;
}

/** A ruler in mm. */
function axis(fromMm: number, toMm: number, xOf: (mm: number) => number, y: number, count: number): Markup {
  return html`<line class="axis" x1="${fixed(xOf(fromMm))}" x2="${fixed(xOf(toMm))}" y1="${y}" y2="${y}"/>
${axisMarks(fromMm, toMm, Math.max(2, count)).map((mm, i, all) => {
  const text = significant(mm, 4) + (i === all.length - 1 ? ' mm' : '');
  return html`<line class="axis" x1="${fixed(xOf(mm))}" x2="${fixed(xOf(mm))}" y1="${y}" y2="${y + 4}"/><text x="${fixed(xOf(mm))}" y="${y + layout.axisGap}" text-anchor="middle">${text}</text>`;
})}`;
}

function fixed(value: number): string {
  return value.toFixed(2);
}

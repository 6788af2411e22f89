import { logAxisMarks } from '../markup/axis-marks.js';
import { html, type Markup, noMarkup } from '../markup/markup.js';
import { pixelsPerPeriod } from '../optics/diffraction.js';
import { apertureCurve } from './aperture-curve.js';
import type { ApertureEffect } from './best-aperture.js';
import { fNumberText, framesText, lengthText, significant } from './number-text.js';
import type { StackPlan } from './stack-plan.js';

const layout = {
  left: 48,
  right: 16,
  /** Top of the first plot, and height of both. */
  top: 26,
  plotHeight: 104,
  /** Between the plots, for the title of the second. */
  between: 30,
  bottom: 36,
} as const;

const bottomOfPlots = layout.top + 2 * layout.plotHeight + layout.between;
/** Distance of the f-numbers along the axis. */
const labelDistance = 38;
/** Distance of thirds of a stop from which on all are labelled: rounded numbers do not stand evenly. */
const thirdDistance = 56;
/** Share of a range that an axis of logarithms shows beyond it. */
const room = 1.12;
/** Width that has room for sentences, px. */
const roomyWidth = 480;

/**
 * Diffraction against depth of field: how large the Airy disc is in pixels, and how deep one frame is sharp, both over the
 * apertures. What a pointer may choose has its f-number in `data-f-number`.
 *
 * @param width Drawing units, at best the px that the drawing has; from 300.
 * @returns Nothing when the pixel pitch is unknown.
 */
export function apertureDrawing(plan: StackPlan, width: number): Markup {
  const curve = apertureCurve(plan);
  if (curve === null || curve.points.length < 2) return noMarkup;
  const { points, planned } = curve;
  const stops = (effect: ApertureEffect): number => Math.log2(effect.effectiveFNumber);
  const [low, high] = [stops(points[0]), stops(points[points.length - 1])];
  const span = width - layout.left - layout.right;
  const xOf = (effect: ApertureEffect): number => layout.left + ((stops(effect) - low) / (high - low)) * span;
  const third = span / (points.length - 1);
  const best = plan.bestAperture;
  // Where no lens reaches the best, diffraction limits at every aperture that is drawn.
  const softShare = best === null ? 1 : (Math.log2(best.effectiveFNumber) - low) / (high - low);
  const softX = layout.left + Math.min(1, Math.max(0, softShare)) * span;
  return html`<svg class="apertures" role="img" aria-label="${apertureSentence(plan)}" viewBox="0 0 ${width} ${bottomOfPlots + layout.bottom}">
<rect class="soft" x="${fixed(softX)}" y="${layout.top}" width="${fixed(width - layout.right - softX)}" height="${bottomOfPlots - layout.top}"/>
${plot({
  title: 'Airy disc, px',
  note: 'diffraction',
  top: layout.top,
  width,
  points,
  planned,
  xOf,
  valueAt: ({ airyPx }) => airyPx,
  limit: {
    value: pixelsPerPeriod,
    text: width < roomyWidth ? 'two pixels' : 'two pixels: beyond, diffraction limits',
  },
  className: 'line-b',
})}
${plot({
  title: 'Depth of field, mm',
  note: 'of one frame',
  top: layout.top + layout.plotHeight + layout.between,
  width,
  points,
  planned,
  xOf,
  valueAt: ({ depthOfFieldMm }) => depthOfFieldMm,
  className: 'line-a',
})}
${fNumberLabels(points, xOf)}
${points.map((point) => {
  return html`<rect class="hit" data-f-number="${point.markedFNumber ?? ''}" x="${fixed(xOf(point) - third / 2)}" y="${layout.top}" width="${fixed(third)}" height="${bottomOfPlots - layout.top}"><title>${labelOf(point)}: Airy disc ${significant(point.airyPx, 2)} px, depth of field ${lengthText(point.depthOfFieldMm)}, ${framesText(point.frames)}</title></rect>`;
})}
</svg>
`;
}

/** The drawing in two sentences, for those who cannot see it. */
export function apertureSentence(plan: StackPlan): string {
  const { lens, sharpness, depth, frames, bestAperture: best } = plan;
  const own = fNumberText(lens.markedFNumber ?? lens.effectiveFNumber);
  const airy = `an Airy disc of ${significant(sharpness.airyPx ?? 0, 2)} px`;
  const planned = `${own}: ${airy}, ${lengthText(depth.combined.totalMm)} of depth of field, ${framesText(frames)}.`;
  if (best === null) return planned;
  const word = fNumberText(best.markedFNumber ?? best.effectiveFNumber);
  return best.possible
    ? `${planned} Beyond ${word} diffraction takes detail that the pixels could hold.`
    : `${planned} Diffraction limits at every aperture: the widest shows most.`;
}

interface PlotPart {
  title: string;
  note: string;
  top: number;
  width: number;
  points: readonly ApertureEffect[];
  planned: ApertureEffect;
  xOf: (effect: ApertureEffect) => number;
  valueAt: (effect: ApertureEffect) => number;
  /** A value that has a line across the plot. */
  limit?: { value: number; text: string };
  className: string;
}

function plot({
  title,
  note,
  top,
  width,
  points,
  planned,
  xOf,
  valueAt,
  limit,
  className,
}: PlotPart): Markup {
  const values = [...points, planned].map(valueAt).concat(limit?.value ?? []);
  const low = Math.min(...values) / room;
  const high = Math.max(...values) * room;
  const yOf = (value: number): number =>
    top + (Math.log(high / value) / Math.log(high / low)) * layout.plotHeight;
  const line = points.map((point) => `${fixed(xOf(point))} ${fixed(yOf(valueAt(point)))}`).join('L');
  const marks = logAxisMarks(low, high);
  // Where the axis spans decades, whole powers of ten are enough.
  const shown = marks.length > 6 ? marks.filter((mark) => Number.isInteger(Math.log10(mark))) : marks;
  const right = width - layout.right;
  const x = xOf(planned);
  return html`<text class="title" x="${layout.left}" y="${top - 9}">${title} <tspan class="quiet">${note}</tspan></text>
${shown.map((mark) => html`<line class="grid" x1="${layout.left}" x2="${right}" y1="${fixed(yOf(mark))}" y2="${fixed(yOf(mark))}"/><text x="${layout.left - 7}" y="${fixed(yOf(mark) + 4)}" text-anchor="end">${significant(mark)}</text>`)}
${limit === undefined ? noMarkup : html`<line class="limit" x1="${layout.left}" x2="${right}" y1="${fixed(yOf(limit.value))}" y2="${fixed(yOf(limit.value))}"/><text x="${right - 4}" y="${fixed(yOf(limit.value) + 14)}" text-anchor="end">${limit.text}</text>`}
<path class="${className}" d="M${line}"/>
<line class="here" x1="${fixed(x)}" x2="${fixed(x)}" y1="${top}" y2="${top + layout.plotHeight}"/>
<circle class="here" cx="${fixed(x)}" cy="${fixed(yOf(valueAt(planned)))}" r="5"/>`;
}

/** F-numbers below the plots, as many as have room. */
function fNumberLabels(points: readonly ApertureEffect[], xOf: (effect: ApertureEffect) => number): Markup[] {
  const third = xOf(points[1]) - xOf(points[0]);
  const every = third >= thirdDistance ? 1 : 3 * third >= labelDistance ? 3 : 6;
  const y = bottomOfPlots + 18;
  return points.flatMap((point, k) => {
    if (k % every !== 0) return [];
    const anchor = k === points.length - 1 ? 'end' : 'middle';
    // The last may stand a little farther left: it would be cut off.
    const x = xOf(point) + (anchor === 'end' ? layout.right : 0);
    return [html`<text x="${fixed(x)}" y="${y}" text-anchor="${anchor}">${labelOf(point)}</text>`];
  });
}

function labelOf({ markedFNumber, effectiveFNumber }: ApertureEffect): string {
  return `f/${significant(markedFNumber ?? effectiveFNumber, 2)}`;
}

function fixed(value: number): string {
  return value.toFixed(2);
}

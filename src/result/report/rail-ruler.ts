import { depthColour } from '../../image/map-colours.js';
import { axisMarks } from '../../markup/axis-marks.js';
import { html, type Markup, noMarkup } from '../../markup/markup.js';
import type { RunFrame, RunRecord } from '../run-record.js';
import { depthText, percentText, shortNumber } from './numbers.js';

/** Drawing units of the ruler, which scales to the page: positions from the left, and distances. */
const drawing = {
  width: 720,
  margin: 34,
  axisX: 84,
  barWidth: 14,
  numberX: 146,
  tickX: 152,
  tickLength: 440,
  leftOutLength: 26,
  minHeight: 260,
  maxHeight: 1100,
  heightPerFrame: 16,
  labelDistance: 13,
  colourSteps: 48,
} as const;

/** What the two ends of the depth axis are called, the end of the smallest depth first. */
export function endNames({ direction }: RunRecord): [string, string] {
  return direction === 'unknown' ? ['first', 'last'] : ['near', 'far'];
}

/**
 * The rail ruler: the depth axis drawn downwards from the camera, with every frame a tick at its plane of focus,
 * as long as the frame's share of the picture. Left-out frames are dashed, crossed and said to be left out.
 *
 * @returns An SVG, or nothing when no frame has a depth.
 */
export function railRuler(record: RunRecord): Markup {
  const placed = record.frames.filter((frame): frame is FrameWithDepth => frame.depth !== null);
  if (!placed.length) return noMarkup;
  const { min: mapMin, max: mapMax, unit } = record.maps.depth;
  const depths = placed.map((frame) => frame.depth);
  const near = Math.min(mapMin ?? Number.POSITIVE_INFINITY, ...depths);
  const far = Math.max(mapMax ?? Number.NEGATIVE_INFINITY, ...depths);
  const height = clamp(placed.length * drawing.heightPerFrame, drawing.minHeight, drawing.maxHeight);
  const yOf = (depth: number) => drawing.margin + ((depth - near) / (far - near || 1)) * height;
  const largestShare = Math.max(...placed.map((frame) => frame.sharePercent)) || 1;
  const [nearName, farName] = endNames(record);
  const numbered = spacedFrames(placed, record.anchorNumber, yOf);

  return html`<svg class="ruler" role="img" aria-labelledby="ruler-title ruler-text" viewBox="0 0 ${drawing.width} ${height + 2 * drawing.margin}">
<title id="ruler-title">Rail ruler</title>
<desc id="ruler-text">Depth from ${depthText(near, unit)} (${nearName}) to ${depthText(far, unit)} (${farName}), with a tick for each of ${placed.length} frames. The table of frames holds the same figures.</desc>
<text x="${drawing.axisX}" y="${drawing.margin - 16}" text-anchor="end">${nearName}</text>
<text x="${drawing.axisX}" y="${height + drawing.margin + 24}" text-anchor="end">${farName}</text>
${colourBar(mapMin, mapMax, yOf)}
${axisMarks(near, far).map(
  (depth) =>
    html`<text x="${drawing.axisX - 8}" y="${fixed(yOf(depth) + 4)}" text-anchor="end">${shortNumber(depth, 4)}${unit === 'mm' ? ' mm' : ''}</text>
<line x1="${drawing.axisX - 5}" x2="${drawing.axisX}" y1="${fixed(yOf(depth))}" y2="${fixed(yOf(depth))}"/>
`,
)}${placed.map((frame) => tick(frame, yOf(frame.depth), largestShare, numbered.has(frame), record.anchorNumber))}</svg>`;
}

type FrameWithDepth = RunFrame & { depth: number };

function tick(
  frame: FrameWithDepth,
  y: number,
  largestShare: number,
  isNumbered: boolean,
  anchorNumber: number,
): Markup {
  const length = frame.used
    ? Math.max(1, (frame.sharePercent / largestShare) * drawing.tickLength)
    : drawing.leftOutLength;
  const end = drawing.tickX + length;
  const remark = frame.used ? (frame.number === anchorNumber ? 'anchor' : '') : '× left out';
  const summary = frame.used
    ? `${percentText(frame.sharePercent)} of the picture`
    : `left out: ${frame.leftOutReason ?? ''}`;
  return html`<g class="${frame.used ? 'used' : 'left-out'}"><title>Frame ${frame.number}, ${frame.name}: ${summary}</title>
${isNumbered ? html`<text x="${drawing.numberX}" y="${fixed(y + 4)}" text-anchor="end">${frame.number}</text>` : noMarkup}
<line class="tick" x1="${drawing.tickX}" x2="${fixed(end)}" y1="${fixed(y)}" y2="${fixed(y)}"/>
${remark && isNumbered ? html`<text x="${fixed(end + 6)}" y="${fixed(y + 4)}">${remark}</text>` : noMarkup}</g>
`;
}

/** The colours of the depth picture beside the axis, over the depths that it shows. */
function colourBar(min: number | null, max: number | null, yOf: (depth: number) => number): Markup {
  if (min === null || max === null) return noMarkup;
  const top = yOf(min);
  const step = (yOf(max) - top) / drawing.colourSteps;
  const pieces = Array.from({ length: drawing.colourSteps }, (_, i) => {
    const colour = depthColour(1 - (i + 0.5) / drawing.colourSteps).join(' ');
    // A little overlap hides the seams that rounding leaves.
    return html`<rect x="${drawing.axisX}" y="${fixed(top + i * step)}" width="${drawing.barWidth}" height="${fixed(step + 0.5)}" fill="rgb(${colour})"/>`;
  });
  return html`<g>${pieces}</g>`;
}

/** Frames whose labels have room: the anchor and left-out ones first, then in order. */
function spacedFrames(
  placed: FrameWithDepth[],
  anchorNumber: number,
  yOf: (depth: number) => number,
): Set<FrameWithDepth> {
  const isFirst = (frame: FrameWithDepth) => frame.number === anchorNumber || !frame.used;
  const taken: number[] = [];
  const chosen = new Set<FrameWithDepth>();
  for (const frame of [...placed.filter(isFirst), ...placed.filter((frame) => !isFirst(frame))]) {
    const y = yOf(frame.depth);
    if (taken.some((other) => Math.abs(other - y) < drawing.labelDistance)) continue;
    taken.push(y);
    chosen.add(frame);
  }
  return chosen;
}

function fixed(value: number): string {
  return value.toFixed(1);
}

function clamp(value: number, min: number, max: number): number {
  return Math.min(max, Math.max(min, value));
}

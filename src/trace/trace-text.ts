import { printable } from '../printable.js';
import { coverageClasses } from '../result/coverage.js';
import { depthText, percentText, shortNumber } from '../result/report/numbers.js';
import { regionText } from './picture-region.js';
import type { FocusCurve, TraceReport } from './trace.js';

const shownSources = 12;
const eighths = ['', '▏', '▎', '▍', '▌', '▋', '▊', '▉'];

/** A report for people, to be read in a terminal of `columns` columns. */
export function traceText(report: TraceReport, columns: number): string {
  const { region, sources, depth, confidence, coverage, focusCurve } = report;
  const single = region.width * region.height === 1;
  const lines = [`${regionText(region)}`, ''];
  lines.push('Supplied by');
  for (const { frame, name, sharePercent } of sources.slice(0, shownSources)) {
    const who = frame === 0 ? 'no frame' : `frame ${String(frame).padStart(3)}  ${name}`;
    lines.push(`  ${percentText(sharePercent).padStart(12)}  ${who}`);
  }
  const rest = sources.slice(shownSources);
  if (rest.length > 0) {
    const share = rest.reduce((sum, { sharePercent }) => sum + sharePercent, 0);
    lines.push(`  ${percentText(share).padStart(12)}  ${rest.length} more`);
  }
  lines.push('');
  if (depth === null) lines.push(`Depth       none: ${whyNoDepth(report)}`);
  else if (single) lines.push(`Depth       ${depthText(depth.median, depth.unit)}`);
  else {
    lines.push(
      `Depth       median ${depthText(depth.median, depth.unit)}, from ${depthText(depth.min, depth.unit)} to ${depthText(depth.max, depth.unit)}`,
    );
  }
  const minimum = single ? '' : `, minimum ${confidence.min.toFixed(2)}`;
  lines.push(`Confidence  ${confidence.mean.toFixed(2)} of 1${minimum}`);
  lines.push(`Coverage    ${coverage.map(coverageText).join('; ')}`);
  if (focusCurve) lines.push('', ...curveLines(focusCurve, report, columns));
  return `${lines.map(printable).join('\n')}\n`;
}

function whyNoDepth({ coverage }: TraceReport): string {
  const isOut = coverage.some(({ name }) => name === 'out-of-reach');
  return isOut ? 'the frames that could be sharp here do not cover it' : 'no frame covers it';
}

function coverageText({ name, percent }: { name: string; percent: number }): string {
  const meaning = coverageClasses.find((entry) => entry.name === name)?.meaning ?? name;
  return percent === 100 ? `${name} (${meaning})` : `${percentText(percent)} ${name} (${meaning})`;
}

/** One bar a frame, as long as its measure beside the best; the frames that supplied the region are marked. */
function curveLines(curve: FocusCurve, report: TraceReport, columns: number): string[] {
  const { frames, windowPx } = curve;
  const max = Math.max(...frames.map(({ measure }) => measure ?? 0));
  const unit = report.depth?.unit ?? 'step';
  const shares = new Map(report.sources.map(({ frame, sharePercent }) => [frame, sharePercent]));
  const room = Math.max(10, Math.min(60, columns - 42));
  const lines = [
    `Focus curve, window of ${windowPx} px (measure in squared 8-bit levels; * supplied more than 1 %)`,
  ];
  for (const { frame, depth, measure } of frames) {
    const mark = (shares.get(frame) ?? 0) > 1 ? '*' : ' ';
    const depthLabel = depth === null ? '' : depthText(depth, unit);
    const value = measure === null ? 'none' : shortNumber(measure, measure < 10 ? 2 : 0);
    const bar = measure === null || max === 0 ? '' : barText((measure / max) * room);
    lines.push(
      `${mark} ${String(frame).padStart(4)}  ${depthLabel.padStart(12)}  ${value.padStart(10)}  ${bar}`,
    );
  }
  return lines.map((line) => line.trimEnd());
}

/** Blocks to an eighth of a column. */
function barText(length: number): string {
  const eighth = Math.round(length * 8);
  return '█'.repeat(eighth >> 3) + eighths[eighth & 7];
}

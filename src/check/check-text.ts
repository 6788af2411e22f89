import { printable } from '../printable.js';
import type { Finding, FindingRank } from '../result/finding.js';
import { shortNumber } from '../result/report/numbers.js';
import { verdictBefore } from '../result/verdict.js';
import { folderName } from '../stack/folder-name.js';
import type { CheckedFrame, CheckReport } from './check-report.js';
import { numbersText } from './finding-text.js';
import { wrapText } from './wrap-text.js';

/** Ranks as people read them. */
export const rankWords: Record<FindingRank, string> = { spoils: 'spoils', flaw: 'flaw', note: 'note' };

/** What the columns of the table of frames mean. */
const tableKey =
  'Sharpest, Share: which part of the picture is sharpest in this frame, and how much of all detail. Step: from the frame before, 1 as usual. Scale, Shift, Light: against the middle frame.';

/** Characters per line, where the terminal does not report its width. */
const defaultWidth = 100;
const minTextWidth = 40;

/** How the report is laid out. */
export interface CheckTextOptions {
  /** Characters a line. */
  width?: number | undefined;
  /** Whether the table of frames is printed. */
  framesTable?: boolean | undefined;
}

/** The report for a terminal: whether the stack is fit, the verdicts, and the frames if they are asked for. */
export function checkText(
  report: CheckReport,
  { width = defaultWidth, framesTable = false }: CheckTextOptions = {},
): string {
  return [
    verdictLine(report),
    '',
    verdictTable(report.findings, width),
    '',
    ...(framesTable ? [frameTable(report.frames), ...wrapText(tableKey, width), ''] : []),
  ].join('\n');
}

/** One sentence on the whole stack. */
export function verdictLine(report: CheckReport): string {
  return printable(`${folderName(report.folder)}: ${checkFacts(report)} ${verdictBefore(report.findings)}`);
}

/** What was checked, in a sentence. */
export function checkFacts({ frames, size, wallMs }: CheckReport): string {
  return `${frames.length} frames of ${size.width} x ${size.height} pixels, checked in ${shortNumber(wallMs / 1000, 1)} s.`;
}

function frameTable(frames: readonly CheckedFrame[]): string {
  const rows = [
    ['Frame', 'File', 'Sharpest', 'Share %', 'Step', 'Scale', 'Shift x, y px', 'Light %'],
    ...frames.map((frame) => [
      String(frame.number),
      printable(frame.name),
      frame.part,
      frame.sharpestPercent.toFixed(1),
      frame.travelSteps === null ? '-' : frame.travelSteps.toFixed(2),
      frame.usable ? frame.scale.toFixed(5) : '-',
      frame.usable ? `${frame.shiftXPx.toFixed(1)}, ${frame.shiftYPx.toFixed(1)}` : '-',
      signed(100 * (frame.light - 1)),
    ]),
  ];
  const widths = rows[0].map((_, i) => Math.max(...rows.map((row) => row[i].length)));
  const isText = (i: number) => i === 1 || i === 2;
  return rows
    .map((row) =>
      row
        .map((cell, i) => (isText(i) ? cell.padEnd(widths[i]) : cell.padStart(widths[i])))
        .join('  ')
        .trimEnd(),
    )
    .join('\n');
}

function signed(value: number): string {
  return `${value < 0 ? '-' : '+'}${Math.abs(value).toFixed(1)}`;
}

function verdictTable(findings: readonly Finding[], width: number): string {
  if (findings.length === 0) return 'Nothing was found amiss.';
  const cells = findings.map(({ rank, frames, files = [], message, advice }) => ({
    rank: rankWords[rank],
    frames: frames.length === 0 ? 'all' : numbersText(frames),
    lines: [
      message,
      ...(files.length > 0 ? [`Files: ${filesText(files)}`] : []),
      ...(advice ? [`-> ${advice}`] : []),
    ].map(printable),
  }));
  const rankWidth = Math.max(...cells.map(({ rank }) => rank.length), 4);
  const framesWidth = Math.min(20, Math.max(...cells.map(({ frames }) => frames.length), 6));
  const textWidth = Math.max(minTextWidth, width - rankWidth - framesWidth - 4);
  const head = `${'Rank'.padEnd(rankWidth)}  ${'Frames'.padEnd(framesWidth)}  Verdict, and what to do`;
  const rows = cells.flatMap(({ rank, frames, lines }) => {
    const left = wrapText(frames, framesWidth);
    const right = lines.flatMap((line) => wrapText(line, textWidth));
    return Array.from({ length: Math.max(left.length, right.length) }, (_, i) =>
      `${(i === 0 ? rank : '').padEnd(rankWidth)}  ${(left[i] ?? '').padEnd(framesWidth)}  ${right[i] ?? ''}`.trimEnd(),
    );
  });
  return [head, ...rows].join('\n');
}

/** Maximum number of file names in a line; of more the first and the last are named. */
const maxNames = 6;

/** Names of files for a line: at most six of them. */
export function filesText(files: readonly string[]): string {
  return files.length > maxNames
    ? `${files[0]} to ${files[files.length - 1]} (${files.length} files)`
    : files.join(', ');
}

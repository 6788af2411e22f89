import { alignTable } from '../align-table.js';
import type { Figures } from './measure.js';

/** A column of the quality table. */
export interface Column {
  key: keyof Figures;
  heading: string;
  digits: number;
  better: 'higher' | 'lower' | 'nearer zero';
}

export const columns: readonly Column[] = [
  { key: 'psnrDb', heading: 'PSNR dB', digits: 2, better: 'higher' },
  { key: 'ssim', heading: 'SSIM', digits: 4, better: 'higher' },
  { key: 'errorNear', heading: '<=6px', digits: 2, better: 'lower' },
  { key: 'errorMiddle', heading: '6-30px', digits: 2, better: 'lower' },
  { key: 'errorElsewhere', heading: 'else', digits: 2, better: 'lower' },
  { key: 'depthMedianSteps', heading: 'depth med', digits: 3, better: 'lower' },
  { key: 'depthOffPercent', heading: '>2 steps %', digits: 1, better: 'lower' },
  { key: 'backgroundNoise', heading: 'bg noise', digits: 2, better: 'lower' },
  { key: 'colour', heading: 'colour', digits: 2, better: 'lower' },
  { key: 'halo', heading: 'halo', digits: 2, better: 'nearer zero' },
  { key: 'offNearPercent', heading: '>2 <=6px', digits: 1, better: 'lower' },
  { key: 'offMiddlePercent', heading: '>2 6-30', digits: 1, better: 'lower' },
  { key: 'offElsewherePercent', heading: '>2 else', digits: 1, better: 'lower' },
  { key: 'thinFoundPercent', heading: 'thin', digits: 1, better: 'higher' },
  { key: 'groundTakenPercent', heading: 'taken', digits: 1, better: 'lower' },
  { key: 'sureRightPercent', heading: 'sure right', digits: 1, better: 'higher' },
  { key: 'surePercent', heading: 'sure', digits: 1, better: 'higher' },
  { key: 'allSureRightPercent', heading: 'all right', digits: 1, better: 'higher' },
  { key: 'coverageWrongPercent', heading: 'cov wrong', digits: 1, better: 'lower' },
  { key: 'motionMedianPx', heading: 'motion med', digits: 2, better: 'lower' },
  { key: 'motionWorstPx', heading: 'worst px', digits: 2, better: 'lower' },
];

/** What the figures mean, for the reader of the tables. */
export const legend = `PSNR over red, green and blue, 8-bit scale. SSIM of luma, 11x11 Gaussian window (Wang et al. 2004).
<=6px, 6-30px, else: mean absolute error /255 by distance to depth edges (neighbours over 2 steps apart).
depth med, >2 steps: absolute error in steps and share off by more than 2, where the truth has texture.
>2 by zone: the same share by distance to depth edges, those nearer than 3 px too. thin: pixels of hairs and
needles within 2 steps; taken: other pixels within 10 px of them, nearer than they are by over 2 steps.
sure right: textured pixels within 1 step where confidence is 0.8 and more; sure: textured pixels that have it; all
right: as sure right, of all pixels, smooth ground behind the last frame too. cov wrong: textured pixels of another
coverage class than the truth's. All in percent.
bg noise: robust deviation of luma in plain background. colour: largest channel's difference of means.
halo: signed mean luma error 3 to 15 px outside a nearer thing. motion: px at the frames' corners.
Not judged: 16 px along the border, and where the truth is unknown.`;

/** One named row; cells that were not measured are absent or NaN. */
export interface Row {
  name: string;
  /** What the row is for; rules are what is judged. */
  role?: 'floor' | 'baseline' | 'rule' | 'ceiling' | undefined;
  figures: { [key in keyof Figures]?: number | undefined };
}

/** Rows as aligned text, one line a row below a line of headings; '-' where nothing was measured. */
export function formatTable(rows: readonly Row[]): string {
  const label = ({ name, role }: Row) =>
    role === 'floor' || role === 'ceiling' ? `${name} (${role})` : name;
  const cells = [
    ['', ...columns.map(({ heading }) => heading)],
    ...rows.map((row) => [
      label(row),
      ...columns.map((column) => formatCell(column, row.figures[column.key])),
    ]),
  ];
  return alignTable(cells);
}

function formatCell({ digits }: Column, value: number | undefined): string {
  return value === undefined || Number.isNaN(value) ? '-' : value.toFixed(digits);
}

/** A column in which the judged row is worse than the better baseline, at the digits shown. */
export interface Shortfall {
  column: string;
  value: string;
  baseline: string;
  baselineName: string;
}

/** Columns where `judged` is worse than the best of the baselines, compared as printed. */
export function shortfalls(judged: Row, baselines: readonly Row[]): Shortfall[] {
  return columns.flatMap((column) => {
    const value = formatCell(column, judged.figures[column.key]);
    const measured = baselines
      .map((row) => ({ name: row.name, text: formatCell(column, row.figures[column.key]) }))
      .filter(({ text }) => text !== '-')
      .sort((first, second) => cost(column, first.text) - cost(column, second.text));
    if (measured.length === 0) return [];
    // A figure that the judged row lacks is a shortfall too.
    if (value !== '-' && cost(column, value) <= cost(column, measured[0].text)) return [];
    return [{ column: column.heading, value, baseline: measured[0].text, baselineName: measured[0].name }];
  });
}

/** A printed figure as something to make small. */
function cost({ better }: Column, text: string): number {
  const value = Number(text);
  if (better === 'nearer zero') return Math.abs(value);
  return better === 'higher' ? -value : value;
}

import { shortNumber } from '../result/report/numbers.js';
import type { ReliefReport } from './relief.js';

/** A relief in lines for people. */
export function reliefText(report: ReliefReport): string {
  const { unit, size, triangles, maxError, rmsError, cellPx, groundPercent, speckPercent } = report;
  const isMetric = unit === 'mm';
  const length = (value: number) => `${Number(value.toPrecision(3))} ${unit}`;
  const sides = size.map((value) => Number(value.toPrecision(4))).join(' x ');
  const lines = [
    `Size: ${sides} ${unit} across, up and deep${isMetric ? '' : '; depth is drawn to no scale'}`,
    `Triangles: ${triangles}, off the depth map by ${length(rmsError)} (root mean square), ${length(maxError)} at most`,
  ];
  if (cellPx > 1) lines.push(`Finest detail: ${cellPx} pixels of the picture; more triangles show more`);
  if (groundPercent >= 0.05) {
    lines.push(`Ground without detail or depth: ${shortNumber(groundPercent, 1)} % of the picture`);
  }
  if (speckPercent >= 0.05) {
    lines.push(`Specks that took the depth around them: ${shortNumber(speckPercent, 1)} % of the picture`);
  }
  return `${lines.join('\n')}\n`;
}

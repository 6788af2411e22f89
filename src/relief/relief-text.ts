import { percentText, shortNumber, significantNumber } from '../result/report/numbers.js';
import { countOf } from '../stack/words.js';
import type { LoopReport } from './loop.js';
import type { ReliefReport } from './relief.js';
import type { StereoReport } from './stereo.js';

/** A relief in lines for people. */
export function reliefText(report: ReliefReport): string {
  const { unit, size, triangles, maxError, rmsError, cellPx, groundPercent, speckPercent } = report;
  const isMetric = unit === 'mm';
  const length = (value: number) => `${significantNumber(value, 3)} ${unit}`;
  const sides = size.map((value) => significantNumber(value, 4)).join(' x ');
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

/** A stereo picture in lines for people. */
export function stereoText(report: StereoReport): string {
  const { size, viewSize, maxParallaxPx, hiddenPercent, seenPercent, cutPx } = report;
  const share = (100 * maxParallaxPx) / viewSize.width;
  const cut = cutPx > 0 ? `; ${countOf(cutPx, 'column')} cut off either side` : '';
  return [
    `Size: ${size.width} x ${size.height} pixels${cut}`,
    `Parallax: ${shortNumber(maxParallaxPx, 1)} pixels at most, ${shortNumber(share, 1)} % of the width, all of it behind the picture`,
    hiddenPercent === 0
      ? 'Nothing is hidden in the composite.'
      : `Hidden in the composite: ${percentText(hiddenPercent)} of the pixels; frames saw ${percentText(seenPercent)} of these, the rest is filled from beside`,
    '',
  ].join('\n');
}

/** A moving picture in lines for people. */
export function loopText({ size, pictures, loop, maxParallaxPx }: LoopReport): string {
  const sway = loop === 'rocking' ? `; the farthest moves by ${shortNumber(maxParallaxPx, 1)} pixels` : '';
  return `Size: ${size.width} x ${size.height} pixels, ${pictures} pictures a round${sway}\n`;
}

import { applyMatrix, type Matrix3 } from '../../image/transform.js';
import { html, type Markup } from '../../markup/markup.js';
import type { RunFrame, RunRecord } from '../run-record.js';
import { columnNumber, depthText } from './numbers.js';

/** The parts of a similarity, for reading. */
export interface TransformParts {
  scale: number;
  /** Clockwise on the screen, degrees. */
  rollDeg: number;
  /** Displacement of the frame's centre, px. */
  shiftXPx: number;
  shiftYPx: number;
}

/** Takes the transform of a frame of `width` x `height` pixels apart. */
export function transformParts(matrix: Matrix3, width: number, height: number): TransformParts {
  const centreX = (width - 1) / 2;
  const centreY = (height - 1) / 2;
  const [x, y] = applyMatrix(matrix, centreX, centreY);
  return {
    scale: Math.hypot(matrix[0], matrix[3]),
    rollDeg: (Math.atan2(matrix[3], matrix[0]) * 180) / Math.PI,
    shiftXPx: x - centreX,
    shiftYPx: y - centreY,
  };
}

/** All frames with what was found of each. */
export function frameTable(record: RunRecord): Markup {
  return html`<div class="wide" role="region" aria-label="Table of frames" tabindex="0">
<table>
<thead><tr><th scope="col">No.</th><th scope="col" class="name">File</th><th scope="col" class="name">Use</th><th scope="col">Share %</th><th scope="col">Depth</th><th scope="col">Step</th><th scope="col">Gain</th><th scope="col">Scale</th><th scope="col">Shift x, y px</th><th scope="col">Roll °</th><th scope="col">Residual px</th></tr></thead>
<tbody>
${record.frames.map((frame) => frameRow(frame, record))}</tbody>
</table>
</div>`;
}

function frameRow(frame: RunFrame, record: RunRecord): Markup {
  const { width, height } = record.frameSize;
  const parts = frame.transform ? transformParts(frame.transform, width, height) : undefined;
  const isAnchor = frame.number === record.anchorNumber;
  const use = frame.used
    ? isAnchor
      ? 'anchor'
      : 'used'
    : `left out: ${frame.leftOutReason ?? 'no reason recorded'}`;
  const depth = frame.depth === null ? '–' : depthText(frame.depth, record.maps.depth.unit);
  const shift = parts ? `${columnNumber(parts.shiftXPx, 1)}, ${columnNumber(parts.shiftYPx, 1)}` : '–';
  return html`<tr${frame.used ? '' : html` class="left-out"`}><th scope="row">${frame.number}</th><td class="name">${frame.name}</td><td class="name">${use}</td><td>${columnNumber(frame.sharePercent, 2)}</td><td>${depth}</td><td>${columnNumber(frame.travelSteps, 2)}</td><td>${frame.gainRatio.map((gain) => columnNumber(gain, 3)).join(' ')}</td><td>${columnNumber(parts?.scale, 5)}</td><td>${shift}</td><td>${columnNumber(parts?.rollDeg, 3)}</td><td>${columnNumber(frame.residualPx, 2)}</td></tr>
`;
}

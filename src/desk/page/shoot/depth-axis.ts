import { html, svg, type TemplateResult } from '../../lit/lit-html.js';
import type { ShootView, ShotFrame } from '../../protocol.js';

const width = 1000;
const height = 150;
const base = 112;
/** Highest bar, for the share of the frame that is sharpest of all. */
const highest = 92;
const margin = 14;
/** Frames to go that are drawn; of more the axis says only that there are more. */
const maxToGo = 400;

/** The frames along the depth axis: where each is focused, how much is sharpest in it, and what is to come. */
export function depthAxis({ frames, framesToGo, framesToGoBy }: ShootView): TemplateResult {
  const positions = frames.map(({ positionSteps }) => positionSteps);
  const toGo = framesToGoBy === 'plan' ? Math.min(framesToGo ?? 0, maxToGo) : 0;
  const from = Math.min(0, ...positions);
  const last = Math.max(0, ...positions);
  const to = Math.max(last + toGo, from + 8);
  const x = (steps: number) => margin + ((width - 2 * margin) * (steps - from)) / (to - from);
  const most = Math.max(1, ...frames.map(({ sharpestPercent }) => sharpestPercent));
  const barWidth = Math.max(2, Math.min(16, 0.62 * ((width - 2 * margin) / (to - from))));
  const bar = (frame: ShotFrame, isLast: boolean): TemplateResult => {
    const barHeight = Math.max(3, (highest * frame.sharpestPercent) / most);
    const left = x(frame.positionSteps) - barWidth / 2;
    const kind = `${isLast ? 'last' : ''}${frame.isGood ? '' : ' bad'}`;
    return svg`<g class=${kind}>
      <rect class="bar" x=${left} y=${base - barHeight} width=${barWidth} height=${barHeight}><title>${frame.number}: ${frame.name}</title></rect>
      ${frame.isGood ? '' : svg`<path class="fault" d=${`M${x(frame.positionSteps)} ${base + 6}l6 11h-12z`} />`}
    </g>`;
  };
  const coming = Array.from({ length: toGo }, (_, i) => `M${x(last + 1 + i)} ${base - 8}v8`).join('');
  const mm = frames.at(-1)?.positionMm ?? null;
  const end = mm === null ? `${Math.round(10 * last) / 10} steps` : `${Number(mm.toPrecision(3))} mm`;
  return html`<figure class="axis">
    <svg viewBox="0 0 ${width} ${height}" role="img" aria-label=${labelOf(frames, end)}>
      <path class="coming" d=${coming} />
      <path class="ground" d=${`M${margin} ${base}H${width - margin}`} />
      ${frames.map((frame, k) => bar(frame, k === frames.length - 1))}
      <text x=${margin} y=${height - 8}>first</text>
      ${frames.length > 1 ? svg`<text class="end" x=${Math.min(width - margin, x(last) + 30)} y=${height - 8}>${end}</text>` : ''}
    </svg>
    <figcaption class="quiet">Depth, frame by frame: the higher a bar, the more is sharpest in that frame. A triangle marks a fault.</figcaption>
  </figure>`;
}

function labelOf(frames: readonly ShotFrame[], end: string): string {
  const faulty = frames.filter(({ isGood }) => !isGood).map(({ number }) => number);
  const faults = faulty.length === 0 ? 'none with a fault' : `with a fault: ${faulty.join(', ')}`;
  return `${frames.length} frames along the depth axis, over ${end}; ${faults}`;
}

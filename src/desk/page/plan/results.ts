import { cautionOf } from '../../../plan/caution.js';
import type { LandscapePlan } from '../../../plan/landscape-plan.js';
import {
  distanceText,
  fNumberText,
  framesText,
  lengthText,
  significant,
  timeText,
} from '../../../plan/number-text.js';
import type { Plan } from '../../../plan/plan.js';
import { type WholeMarkStep, wholeMarkStep, wholeMarksNote } from '../../../plan/stack-notes.js';
import type { StackPlan } from '../../../plan/stack-plan.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import type { PlanFieldName } from './fields.js';

interface Figure {
  name: string;
  value: string;
  note?: string;
}

/** What follows from the values, in large figures. */
export function planFigures(plan: Plan): TemplateResult {
  const figures = plan.kind === 'stack' ? stackFigures(plan) : landscapeFigures(plan);
  return html`<dl class="figures">
    ${figures.map(
      ({ name, value, note }) =>
        html`<div><dt>${name}</dt><dd><strong>${value}</strong>${note ? html`<span>${note}</span>` : nothing}</dd></div>`,
    )}
  </dl>`;
}

function stackFigures({
  step,
  knobPerFrame,
  frames,
  effort,
  depth,
  lens,
  fieldMm,
  distancesMm,
}: StackPlan): Figure[] {
  const marks = knobPerFrame?.marks ?? null;
  const knob =
    knobPerFrame === null
      ? 'give the travel of a turn for marks'
      : marks === null
        ? `${significant(knobPerFrame.degrees)}° of the knob`
        : `${significant(marks)} marks of the knob`;
  return [
    { name: 'Step', value: shortLength(step.mm), note: knob },
    { name: 'Frames', value: String(frames), note: `for ${lengthText((frames - 1) * step.mm)} of travel` },
    ...(effort.timeS === null ? [] : [{ name: 'Time', value: timeText(effort.timeS) }]),
    { name: 'Depth of field', value: shortLength(depth.combined.totalMm), note: 'of one frame' },
    {
      name: 'Magnification',
      value: `${significant(lens.magnification)} ×`,
      note: `${significant(fieldMm.width)} × ${significant(fieldMm.height)} mm of subject`,
    },
    {
      name: 'Effective aperture',
      value: fNumberText(lens.effectiveFNumber),
      note:
        lens.lightLostStops === null
          ? `NA ${significant(lens.numericalAperture)}`
          : `${significant(lens.lightLostStops, 2)} stops of light lost`,
    },
    ...(distancesMm === null
      ? []
      : [
          {
            name: 'Working distance',
            value: `${significant(distancesMm.working)} mm`,
            note: 'of a thin lens',
          },
        ]),
  ];
}

function landscapeFigures({ frames, effort, hyperfocalM, nearM, farM }: LandscapePlan): Figure[] {
  return [
    { name: 'Frames', value: String(frames), note: `${distanceText(nearM)} to ${distanceText(farM)}` },
    ...(effort.timeS === null ? [] : [{ name: 'Time', value: timeText(effort.timeS) }]),
    { name: 'Hyperfocal distance', value: distanceText(hyperfocalM) },
  ];
}

/** A length as one figure, in the unit that reads best. */
function shortLength(mm: number): string {
  return mm < 0.1 ? `${significant(mm * 1000)} µm` : `${significant(mm)} mm`;
}

/** Takes values that the screen itself recommends. */
export type SetValues = (values: Partial<Record<PlanFieldName, string>>) => void;

/** Warnings, what diffraction asks for, and assumptions; with what can be set by a press. */
export function planAdvice(plan: Plan, set: SetValues): TemplateResult {
  const whole = plan.kind === 'stack' ? wholeMarkStep(plan) : undefined;
  const notes = plan.notes.filter((note) => whole === undefined || note !== wholeMarksNote(whole));
  return html`${plan.warnings.map((warning) => html`<p class="remark flaw">${warning}</p>`)}
    ${plan.kind === 'stack' ? apertureAdvice(plan, set) : distanceTable(plan)}
    ${whole === undefined ? nothing : marksAdvice(whole, set)}
    ${
      notes.length === 0
        ? nothing
        : html`<details class="notes"><summary>What the plan assumes</summary>${notes.map((note) => html`<p>${note}</p>`)}</details>`
    }
    <details class="notes"><summary>Caution</summary>${cautionOf(plan).map((line) => html`<p>${line}</p>`)}</details>`;
}

function apertureAdvice(
  { bestAperture: best, sharpness, lens }: StackPlan,
  set: SetValues,
): TemplateResult | typeof nothing {
  if (best === null || sharpness.airyPx === null) return nothing;
  const airy = `The Airy disc covers ${significant(sharpness.airyPx, 2)} pixels`;
  const better = best.choices.find(({ name }) => name === 'best');
  if (sharpness.limit === 'pixel')
    return html`<p class="remark">${airy}: the pixels limit the detail, not diffraction.</p>`;
  if (lens.markedFNumber === null)
    return html`<p class="remark">${airy}: diffraction limits the detail, as it does with most objectives.</p>`;
  if (better === undefined || better.markedFNumber === null)
    return html`<p class="remark">${airy}: at this magnification diffraction limits at every aperture.</p>`;
  const fNumber = better.markedFNumber;
  return html`<p class="remark">
    <span>${airy}: diffraction limits the detail. ${fNumberText(fNumber)} shows most, in ${framesText(better.frames)}.</span>
    <button type="button" @click=${() => set({ fNumber: String(fNumber) })}>Use ${fNumberText(fNumber)}</button>
  </p>`;
}

function marksAdvice(whole: WholeMarkStep, set: SetValues): TemplateResult {
  return html`<p class="remark">
    <span>${wholeMarksNote(whole)}</span>
    <button type="button" @click=${() => set({ stepMm: significant(whole.stepMm, 4) })}>
      Use ${whole.marks === 1 ? 'one mark' : `${whole.marks} marks`}
    </button>
  </p>`;
}

function distanceTable({ focus }: LandscapePlan): TemplateResult {
  return html`<div class="wide" role="region" aria-label="Distances to focus at" tabindex="0">
    <table>
      <thead><tr><th scope="col">Frame</th><th scope="col">Focus at</th><th scope="col">Sharp from</th><th scope="col">to</th></tr></thead>
      <tbody>
        ${focus.map(
          ({ frame, focusM, nearM, farM }) =>
            html`<tr><td>${frame}</td><td>${distanceText(focusM)}</td><td>${distanceText(nearM)}</td><td>${distanceText(farM)}</td></tr>`,
        )}
      </tbody>
    </table>
  </div>`;
}

import { readNumber } from '../../../options/read-number.js';
import { readFNumber, readQuantity, readRatio } from '../../../options/read-quantity.js';
import { live } from '../../lit/directives/live.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import {
  type PlanField,
  type PlanFieldName,
  type PlanGroup,
  type PlanMode,
  planGroups,
  planModes,
} from './fields.js';
import type { PlanFault, PlanForm } from './form.js';
import { lastPosition, positionOf, textAt } from './slider.js';

/** Takes what the hand changed. */
export type OnChange = (change: { mode?: PlanMode; values?: Partial<Record<PlanFieldName, string>> }) => void;

/** The fields of a plan, each a text and, where a value is dragged, a slider. */
export function planForm(form: PlanForm, fault: PlanFault | undefined, onChange: OnChange): TemplateResult {
  return html`<form @submit=${(event: Event) => event.preventDefault()}>
    <fieldset class="modes">
      <legend class="unseen">What is known of the lens</legend>
      ${planModes.map(
        ({ value, label }) =>
          html`<label
            ><input
              type="radio"
              name="mode"
              value=${value}
              .checked=${live(form.mode === value)}
              @change=${() => onChange({ mode: value })}
            /><span>${label}</span></label
          >`,
      )}
    </fieldset>
    ${planGroups(form.mode).map((group) => groupPart(group, form, fault, onChange))}
  </form>`;
}

function groupPart(
  group: PlanGroup,
  form: PlanForm,
  fault: PlanFault | undefined,
  onChange: OnChange,
): TemplateResult {
  const fields = group.fields.map((field) => fieldPart(field, form, fault, onChange));
  if (group.isFolded) {
    return html`<details class="group"><summary>${group.title}</summary>${fields}</details>`;
  }
  return html`<fieldset class="group"><legend>${group.title}</legend>${fields}</fieldset>`;
}

function fieldPart(
  field: PlanField,
  { values }: PlanForm,
  fault: PlanFault | undefined,
  onChange: OnChange,
): TemplateResult {
  const { name, label, unit, hint, slide, choices } = field;
  const id = `plan-${name}`;
  const text = values[name] ?? '';
  const isFaulty = fault?.field === name;
  const set = (value: string): void => onChange({ values: { [name]: value } });
  const described = [...(isFaulty ? ['plan-fault'] : []), ...(hint ? [`${id}-hint`] : [])].join(' ');
  const control = choices
    ? html`<span class="typed"><select id=${id} @change=${(event: Event) => set((event.target as HTMLSelectElement).value)}>
        ${choices.map(
          (choice) =>
            html`<option value=${choice.value} ?selected=${choice.value === text}>${choice.label}</option>`,
        )}
      </select><span class="unit">${unit ?? ''}</span></span>`
    : html`<span class="typed"
        ><input
          id=${id}
          type="text"
          inputmode=${slide ? 'decimal' : 'text'}
          autocomplete="off"
          spellcheck="false"
          placeholder=${field.empty ?? ''}
          aria-invalid=${isFaulty}
          aria-describedby=${described || nothing}
          .value=${live(text)}
          @input=${(event: Event) => set((event.target as HTMLInputElement).value)}
        /><span class="unit">${unit ?? ''}</span></span
      >`;
  return html`<div class=${isFaulty ? 'asked faulty' : 'asked'}>
    <label for=${id}>${label}</label>${control}
    ${
      slide
        ? html`<input
          type="range"
          min="0"
          max=${lastPosition(slide)}
          step="1"
          aria-label=${`${label.replace(/ f\/$/, '')}, slider`}
          aria-valuetext=${`${text} ${unit ?? ''}`.trim()}
          .value=${live(String(positionOf(slide, numberOf(name, text))))}
          @input=${(event: Event) => set(textAt(slide, Number((event.target as HTMLInputElement).value)))}
        />`
        : nothing
    }
    ${hint ? html`<p class="hint" id="${id}-hint">${hint}</p>` : nothing}
  </div>`;
}

/** The number that a text stands for, for the place of a slider; 1 for none. */
function numberOf(name: PlanFieldName, text: string): number {
  const unit = /(Mm|M)$/.exec(name)?.[1].toLowerCase();
  const value = readRatio(text) ?? readFNumber(text) ?? readQuantity(text, unit) ?? readNumber(text);
  return value !== undefined && value >= 0 ? value : 1;
}

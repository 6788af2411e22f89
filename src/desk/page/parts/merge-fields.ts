import { readQuantity } from '../../../options/read-quantity.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import { optionLabels as labels } from '../../option-labels.js';
import type { MergeChoices, MergeForm } from '../../protocol.js';
import { aboutText } from './format.js';

const rules = [
  ['auto', 'Decided pixel by pixel, and the blur of near things cleared from what lies behind'],
  ['select', 'The sharpest photograph alone: crisp and quick, for hard surfaces'],
  ['weigh', 'Several photographs by their sharpness: smooth, for soft and noisy ones'],
] as const;

/** The fields of a merge, set to `chosen`; those that few need are folded. */
export function mergeFields(form: MergeForm, chosen: MergeChoices): TemplateResult {
  const { frames, out, freeOut, preview } = form;
  const { anchor = 'middle', crop = 'common', format = 'tif', rule = 'auto', direction = 'auto' } = chosen;
  const order = chosen.order ?? 'auto';
  const skip = chosen.skip ?? [];
  return html`
    ${lengthField('stepMm', chosen.stepMm, 'rail travel; without it depth is in steps')}
    ${lengthField('fieldWidthMm', chosen.fieldWidthMm, 'subject across a photograph; without it lengths are in pixels')}
    <details class="more" ?open=${skip.length > 0 || order !== 'auto'}>
      <summary>How it is merged</summary>
      <fieldset>
        <legend>${labels.rule}</legend>
        ${rules.map(
          ([value, text]) =>
            html`<label class="option"><input type="radio" name="rule" value=${value} ?checked=${value === rule} /><span><b>${value}</b> <span class="quiet">${text}</span></span></label>`,
        )}
      </fieldset>
      <label class="line">${labels.anchor}
        <select name="anchor">
          ${(['first', 'middle', 'last'] as const).map((value) => option(value, `the ${value} photograph`, value === anchor))}
          ${frames.map(({ number, name }) => option(String(number), `${number}: ${name}`, number === anchor))}
        </select></label>
      <label class="line">${labels.crop}
        <select name="crop">
          ${option('common', 'to what every photograph reaches', crop === 'common')}
          ${option('anchor', 'none: the whole framing', crop === 'anchor')}
        </select></label>
      <label class="line">${labels.format}
        <select name="format">
          ${option('tif', 'TIFF', format === 'tif')}${option('png', 'PNG', format === 'png')}${option('jpg', 'JPEG', format === 'jpg')}
        </select></label>
      <label class="line">${labels.direction}
        <select name="direction">
          ${option('auto', 'found from the photographs', direction === 'auto')}
          ${option('near-to-far', 'near to far', direction === 'near-to-far')}
          ${option('far-to-near', 'far to near', direction === 'far-to-near')}
        </select></label>
      <label class="line">${labels.order}
        <select name="order">
          ${option('auto', 'by time, else by name', order === 'auto')}
          ${option('time', 'by time', order === 'time')}
          ${option('name', 'by name', order === 'name')}
        </select></label>
      <label class="line">${labels.skip}
        <input name="skip" inputmode="numeric" placeholder="such as 12, 31" value=${skip.join(', ')} @input=${(event: Event) => checkFrames(event, frames.length)} @invalid=${unfold} /></label>
      <label class="line">${labels.out}
        <input name="into" placeholder="the folder above the photographs" autocomplete="off" spellcheck="false" /></label>
    </details>
    ${preview === null ? nothing : html`<label class="option"><input type="checkbox" name="previewFirst" checked /><span>Quick look first <span class="quiet">at 1/${preview.factor} of the size, in ${aboutText(Math.max(2, preview.estimateS))}</span></span></label>`}
    ${
      freeOut === null
        ? html`<p class="quiet out">The result: <b>${out}</b>, beside the folder.</p>`
        : html`<fieldset>
            <legend>There is a result beside the folder already</legend>
            <label class="option"><input type="radio" name="place" value="replace" checked /><span>${labels.overwrite} <span class="quiet">${out}: its mends go on to the new one</span></span></label>
            <label class="option"><input type="radio" name="place" value="free" /><span>Keep it, and write another <span class="quiet">${freeOut}</span></span></label>
          </fieldset>`
    }
  `;
}

/** What the fields say; throws nothing, for the server refuses what is wrong. */
export function readChoices(data: FormData): MergeChoices {
  const text = (name: string): string => String(data.get(name) ?? '').trim();
  const anchor = text('anchor');
  return {
    stepMm: lengthOf(text('stepMm')),
    fieldWidthMm: lengthOf(text('fieldWidthMm')),
    rule: text('rule') as NonNullable<MergeChoices['rule']>,
    anchor: /^\d+$/.test(anchor) ? Number(anchor) : (anchor as 'middle'),
    crop: text('crop') as NonNullable<MergeChoices['crop']>,
    format: text('format') as NonNullable<MergeChoices['format']>,
    direction: text('direction') as NonNullable<MergeChoices['direction']>,
    order: text('order') === 'auto' ? null : (text('order') as 'time' | 'name'),
    skip: framesOf(text('skip')),
  };
}

/** 12, 31 and 4-6 as numbers; what is no number stays wrong. */
export function framesOf(text: string): number[] {
  return text
    .split(/[\s,;]+/)
    .filter((part) => part !== '')
    .flatMap((part) => {
      const [, from, to] = /^(\d+)[-–](\d+)$/.exec(part) ?? [];
      if (from === undefined || Number(to) < Number(from) || Number(to) > 100_000) return [Number(part)];
      return Array.from({ length: Number(to) - Number(from) + 1 }, (_, i) => Number(from) + i);
    });
}

/** A length in mm as people write it, such as 0.05, 0,05 or 50 µm; null for none. */
export function lengthOf(text: string): number | null {
  return text.trim() === '' ? null : (readQuantity(text, 'mm') ?? Number.NaN);
}

/** Says on a field what is wrong with its length, for the browser to show when the form is sent. */
export function checkLength({ target }: Event): void {
  const field = target as HTMLInputElement;
  const length = lengthOf(field.value);
  const isRight = length === null || length > 0;
  field.setCustomValidity(isRight ? '' : 'Give a length in millimetres, such as 0.05, or leave it empty.');
}

/** As `checkLength`, for numbers of frames. */
function checkFrames({ target }: Event, count: number): void {
  const field = target as HTMLInputElement;
  const isRight = framesOf(field.value).every((number) => Number.isInteger(number) && number > 0);
  field.setCustomValidity(
    isRight ? '' : `Give numbers of frames from 1 to ${count}, such as 12, 31 or 4-6, or leave it empty.`,
  );
}

/** A field that is folded away must be seen before the browser can point at it. */
export function unfold({ target }: Event): void {
  const folded = (target as HTMLElement).closest('details');
  if (folded) folded.open = true;
}

export function lengthField(
  name: 'stepMm' | 'fieldWidthMm',
  value: number | null | undefined,
  hint: string,
): TemplateResult {
  return html`<div class="length">
    <label for=${name}>${labels[name]}</label>
    <span><input id=${name} name=${name} inputmode="decimal" autocomplete="off" placeholder="not known" value=${value ?? ''} aria-describedby="${name}-hint" @input=${checkLength} @invalid=${unfold} /> mm</span>
    <span id="${name}-hint" class="quiet">${hint}</span>
  </div>`;
}

function option(value: string, text: string, isChosen: boolean): TemplateResult {
  return html`<option value=${value} ?selected=${isChosen}>${text}</option>`;
}

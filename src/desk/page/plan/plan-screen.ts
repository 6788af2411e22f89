import { apertureDrawing } from '../../../plan/aperture-drawing.js';
import { distanceDrawing, distanceSentence } from '../../../plan/distance-drawing.js';
import type { Plan } from '../../../plan/plan.js';
import { planSheet, sheetMarkup } from '../../../plan/sheet.js';
import { closeUpDrawing, slabDrawing, slabSentence } from '../../../plan/slab-drawing.js';
import type { StackPlan } from '../../../plan/stack-plan.js';
import { unsafeHTML } from '../../lit/directives/unsafe-html.js';
import { html, nothing, render, type TemplateResult } from '../../lit/lit-html.js';
import { ask, send } from '../api.js';
import { showFailure } from '../notice.js';
import { type ScreenContext, screenAddress } from '../screen.js';
import { type PlanFieldName, type PlanMode, valuesOnMode } from './fields.js';
import { formOf, formQuery, type PlanForm, type Planned, planOf } from './form.js';
import { planForm } from './form-parts.js';
import { planAdvice, planFigures } from './results.js';

/** Widths of the drawings, px. */
const minDrawn = 300;
const maxDrawn = 1500;
/** After the last change the plan is kept, and said to a screen reader. */
const quietMs = 500;

/** Fills the screen: what is given on one side, what follows from it on the other, anew with every change. */
export async function mountPlan(element: HTMLElement, context: ScreenContext): Promise<void> {
  let isThere = true;
  context.atEnd(() => {
    isThere = false;
  });
  const entries = [...context.query];
  // Without values in the address: the plan that was left.
  const kept = entries.length > 0 ? entries : Object.entries(await keptPlan());
  if (!isThere) return;
  new PlanScreen(element, context, formOf(kept));
}

async function keptPlan(): Promise<Record<string, string>> {
  try {
    return await ask<Record<string, string>>('api/plan');
  } catch {
    return {};
  }
}

class PlanScreen {
  private planned: Planned;
  /** The last plan that could be made: it stays on view while a value is being typed. */
  private lastPlan: Plan | undefined;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private spoken = '';
  private readonly sheet = document.createElement('div');

  constructor(
    private readonly element: HTMLElement,
    context: ScreenContext,
    private form: PlanForm,
  ) {
    this.planned = planOf(form);
    this.lastPlan = this.planned.plan;
    this.sheet.className = 'sheet for-print';
    document.body.append(this.sheet);
    const fillSheet = (): void => this.fillSheet();
    addEventListener('beforeprint', fillSheet);
    const observer = new ResizeObserver(() => this.draw());
    observer.observe(element);
    context.atEnd(() => {
      clearTimeout(this.timer);
      observer.disconnect();
      removeEventListener('beforeprint', fillSheet);
      this.sheet.remove();
    });
    this.draw();
  }

  private change(change: { mode?: PlanMode; values?: Partial<Record<PlanFieldName, string>> }): void {
    const { mode, values } = this.form;
    const next = change.mode ?? mode;
    this.form = { mode: next, values: { ...values, ...valuesOnMode(values, mode, next), ...change.values } };
    this.planned = planOf(this.form);
    this.lastPlan = this.planned.plan ?? this.lastPlan;
    this.draw();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.settle(), quietMs);
  }

  /** The address follows, so that the browser's way back finds the plan; the server keeps it for the next time. */
  private settle(): void {
    const query = formQuery(this.form);
    history.replaceState(null, '', screenAddress('plan', query));
    send('api/plan', query).catch(showFailure);
    this.spoken = this.planned.fault?.message ?? sentenceOf(this.planned.plan);
    this.draw();
  }

  private draw(): void {
    const { planned, lastPlan } = this;
    const { fault } = planned;
    const width = this.drawnWidth();
    render(
      html`<h1 class="unseen">Plan</h1>
        <div class=${fault ? 'plan stale' : 'plan'}>
          <div class="result">
            ${fault ? html`<p class="fault" id="plan-fault">${fault.message}</p>` : nothing}
            ${lastPlan === undefined ? nothing : html`${planFigures(lastPlan)} ${this.slabs(lastPlan, width)}`}
          </div>
          <div class="given">${planForm(this.form, fault, (change) => this.change(change))}</div>
          <div class="further">${lastPlan === undefined ? nothing : this.further(lastPlan, width)}</div>
        </div>
        <p class="unseen" role="status">${this.spoken}</p>`,
      this.element,
    );
  }

  private slabs(plan: Plan, width: number): TemplateResult {
    const drawing = plan.kind === 'stack' ? slabDrawing(plan, width) : distanceDrawing(plan, width);
    return html`<div class="drawing">${unsafeHTML(drawing.text)}</div>`;
  }

  /** What may be out of sight while a value is dragged. */
  private further(plan: Plan, width: number): TemplateResult {
    const isWhole = this.planned.plan !== undefined;
    return html`${plan.kind === 'stack' ? this.drawings(plan, width) : nothing}
      ${planAdvice(plan, (values) => this.change({ values }))}
      <div class="row">
        <button type="button" ?disabled=${!isWhole} @click=${() => this.print()}>Print the sheet</button>
        <button type="button" ?disabled=${!isWhole} @click=${() => this.saveTable()}>Save as table</button>
        ${plan.kind === 'stack' ? html`<a class="button" href=${screenAddress('shoot', { step: String(Number(plan.step.mm.toPrecision(4))), frames: String(plan.frames) })}>Shoot by it</a>` : nothing}
        ${plan.kind === 'stack' ? html`<span class="quiet">A merge takes the table as positions.</span>` : nothing}
      </div>`;
  }

  private drawings(plan: StackPlan, width: number): TemplateResult {
    const choose = (event: Event): void => {
      const hit = (event.target as Element).closest('[data-f-number]');
      const fNumber = hit?.getAttribute('data-f-number');
      const isPressed = event.type === 'pointerdown' || (event as PointerEvent).buttons === 1;
      if (fNumber && isPressed && this.form.values.fNumber !== fNumber) this.change({ values: { fNumber } });
    };
    return html`<div class="drawing">${unsafeHTML(closeUpDrawing(plan, width).text)}</div>
      <div class="drawing" @pointerdown=${choose} @pointermove=${choose}>
        ${unsafeHTML(apertureDrawing(plan, width).text)}
      </div>`;
  }

  private drawnWidth(): number {
    const holder = this.element.querySelector('.result') ?? this.element;
    return Math.min(maxDrawn, Math.max(minDrawn, Math.floor(holder.clientWidth)));
  }

  private fillSheet(): void {
    if (this.planned.plan) this.sheet.innerHTML = sheetMarkup(this.planned.plan).text;
  }

  private print(): void {
    this.fillSheet();
    window.print();
  }

  private saveTable(): void {
    if (!this.planned.plan) return;
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([planSheet(this.planned.plan, 'csv')], { type: 'text/csv' }));
    link.download = 'positions.csv';
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }
}

function sentenceOf(plan: Plan | undefined): string {
  if (!plan) return '';
  return plan.kind === 'stack' ? slabSentence(plan) : distanceSentence(plan);
}

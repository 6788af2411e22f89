import { UsageError } from '../../../errors.js';
import { callOptions } from '../../../option-names.js';
import { type OptionSpec, optionSpecs } from '../../../options/option.js';
import { readOptionText } from '../../../options/read-option-text.js';
import { planOptionTable } from '../../../plan/option-table.js';
import { type Plan, plan } from '../../../plan/plan.js';
import type { PlanOptions } from '../../../plan/plan-options.js';
import { firstValues, labelOf, type PlanFieldName, type PlanMode, planGroups, planModes } from './fields.js';

/** What stands on the screen: every value as its text, those that the mode does not ask for too. */
export interface PlanForm {
  mode: PlanMode;
  values: Partial<Record<PlanFieldName, string>>;
}

/** A plan, or why there is none. */
export type Planned = { plan: Plan; fault?: undefined } | { plan?: undefined; fault: PlanFault };

export interface PlanFault {
  /** The value that is wrong; undefined where values contradict each other. */
  field: PlanFieldName | undefined;
  message: string;
}

// Notes and messages call values as the screen does.
callOptions(labelOf);

const specs = new Map<string, OptionSpec>(optionSpecs(planOptionTable));

/** The options that the texts stand for; a text that stands for nothing is kept, so that it is refused in words. */
export function planOptionsOf({ mode, values }: PlanForm): Partial<PlanOptions> {
  const asked = planGroups(mode).flatMap(({ fields }) => fields.map(({ name }) => name));
  const given: Record<string, unknown> = {};
  for (const name of asked) {
    const text = values[name]?.trim() ?? '';
    if (text === '') continue;
    const spec = specs.get(name);
    if (spec) given[name] = readOptionText(spec.kind, withUnit(name, text));
  }
  // A step of one's own takes the place of the overlap.
  if (given.stepMm !== undefined) delete given.overlapPercent;
  if (mode === 'scene') given.landscape = true;
  return given as Partial<PlanOptions>;
}

export function planOf(form: PlanForm): Planned {
  try {
    return { plan: plan(planOptionsOf(form)) };
  } catch (error) {
    if (!(error instanceof UsageError)) throw error;
    return {
      fault: {
        field: error.option as PlanFieldName | undefined,
        message: error.messageWith(labelOf),
      },
    };
  }
}

/** A bare number of pixels means megapixels here, as the field says. */
function withUnit(name: string, text: string): string {
  return name === 'pixels' && /^[\d.,]+$/.test(text) ? `${text} MP` : text;
}

/** The form as values of the address, those left out that stand there at the beginning. */
export function formQuery({ mode, values }: PlanForm): Record<string, string> {
  const changed = Object.entries(values).filter(
    ([name, text]) => text !== (firstValues[name as PlanFieldName] ?? ''),
  );
  return { ...(mode !== planModes[0].value && { mode }), ...Object.fromEntries(changed) };
}

/** The form that values of an address stand for; unknown ones are passed over. */
export function formOf(query: Iterable<[string, string]>): PlanForm {
  const form: PlanForm = { mode: planModes[0].value, values: { ...firstValues } };
  for (const [name, text] of query) {
    if (name === 'mode') form.mode = planModes.find(({ value }) => value === text)?.value ?? form.mode;
    else if (specs.has(name)) form.values[name as PlanFieldName] = text;
  }
  return form;
}

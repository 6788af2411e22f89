import { type LandscapePlan, planLandscape } from './landscape-plan.js';
import type { PlanOptions } from './plan-options.js';
import { namesOf, type PlanNaming, resolvePlanOptions } from './resolve-plan-options.js';
import { planStack, type StackPlan } from './stack-plan.js';

export type Plan = StackPlan | LandscapePlan;

/**
 * Plan the frames of a stack, or of a landscape, before the first is shot. A pure function of the options.
 *
 * @param naming How notes and warnings call an option.
 * @throws UsageError that says which value cannot be, and why.
 */
export function plan(given: Partial<PlanOptions>, naming: PlanNaming = 'field'): Plan {
  const options = resolvePlanOptions(given);
  return options.landscape ? planLandscape(options, namesOf(naming)) : planStack(options, namesOf(naming));
}

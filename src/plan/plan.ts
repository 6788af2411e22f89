import { type LandscapePlan, planLandscape } from './landscape-plan.js';
import type { PlanOptions } from './plan-options.js';
import { resolvePlanOptions } from './resolve-plan-options.js';
import { planStack, type StackPlan } from './stack-plan.js';

/** A plan of either kind; `kind` tells which. Plain data, which JSON holds. */
export type Plan = StackPlan | LandscapePlan;

/**
 * Plans the frames of a stack, or of a landscape, before the first is shot. A pure function of the options.
 *
 * It knows a perfect lens: where a real one is softer, wider steps do, and a lens that shortens its focal length when
 * focused close magnifies otherwise than its numbers say.
 *
 * @param given Units stand in the names of the fields: `depthMm`, `wavelengthNm`, `nearM`. `planOptionTable` has the ranges.
 * @throws UsageError that says which value cannot be, and why.
 */
export function plan(given: Partial<PlanOptions>): Plan {
  const options = resolvePlanOptions(given);
  return options.landscape ? planLandscape(options) : planStack(options);
}

import { type LandscapePlan, planLandscape } from './landscape-plan.js';
import type { PlanOptions } from './plan-options.js';
import { resolvePlanOptions } from './resolve-plan-options.js';
import { planStack, type StackPlan } from './stack-plan.js';

/** A plan of either kind, as given by `kind`. Plain data that JSON can represent. */
export type Plan = StackPlan | LandscapePlan;

/**
 * Plans the frames of a stack, or of a landscape, before the first is shot. A pure function of the options.
 *
 * It assumes a perfect lens: where a real one is softer, wider steps suffice, and a lens that shortens its focal length
 * when focused close has another magnification than its numbers give.
 *
 * @param given Units are in the names of the fields: `depthMm`, `wavelengthNm`, `nearM`. `planOptionTable` has the
 *   ranges.
 * @throws UsageError that names the impossible value and the reason.
 */
export function plan(given: Partial<PlanOptions>): Plan {
  const options = resolvePlanOptions(given);
  return options.landscape ? planLandscape(options) : planStack(options);
}

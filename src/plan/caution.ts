import type { Plan } from './plan.js';

/** Cautions on every sheet for work at a rail. */
const benchCaution: readonly string[] = [
  'Bright LEDs and flashes: do not look into them, least of all through a lens; shade them from eyes at the bench.',
  'Lamps grow warm: keep diffusers, paper and specimens clear, and let them cool before you move them.',
  'Pins and blades: keep them stuck in something, count them, and protect your eyes.',
  'Solvents: fresh air, away from lamps and flames, by their safety data sheets.',
  "Local rules and the makers' instructions come before this sheet.",
];

/** Cautions on a sheet for work outdoors. */
const fieldCaution: readonly string[] = [
  'Never point a lens at the sun with your eye at the finder. Mind edges, tides and traffic while you look at the camera.',
  "Local rules and the makers' instructions come before this sheet.",
];

/** Cautions for the work that a plan is about. */
export function cautionOf(plan: Plan): readonly string[] {
  return plan.kind === 'stack' ? benchCaution : fieldCaution;
}

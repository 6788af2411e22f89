import { numbersText, skipText } from '../../../check/finding-text.js';
import type { FindingFix } from '../../../result/finding.js';
import type { CheckChoices } from '../../protocol.js';
import { framesOf } from '../parts/merge-fields.js';

/** Choices with a fix made, or, where it is made already, taken back. */
export function withFix(choices: CheckChoices, fix: FindingFix): CheckChoices {
  const isMade = isFixMade(choices, fix);
  const next = { ...choices };
  if (fix.skip) {
    const own = new Set(fix.skip);
    const others = (choices.skip ?? []).filter((number) => !own.has(number));
    next.skip = (isMade ? others : [...others, ...fix.skip]).sort((first, second) => first - second);
  }
  if (fix.order) next.order = isMade ? null : fix.order;
  if (fix.direction) {
    if (isMade) delete next.direction;
    else next.direction = fix.direction;
  }
  return next;
}

export function isFixMade({ skip = [], order, direction }: CheckChoices, fix: FindingFix): boolean {
  return (
    (fix.skip ?? []).every((number) => skip.includes(number)) &&
    (fix.order === undefined || fix.order === order) &&
    (fix.direction === undefined || fix.direction === direction)
  );
}

/** A fix as what its button does. */
export function fixLabel({ skip, order, direction }: FindingFix): string {
  if (skip) return `Leave out ${skip.length === 1 ? 'frame' : 'frames'} ${numbersText(skip)}`;
  if (order) return order === 'name' ? 'Order by name' : 'Order by time';
  return `Runs from ${direction?.replaceAll('-', ' ') ?? ''}`;
}

/** The choices in words, for the line above the buttons; empty for none. */
export function choicesText({ skip = [], order, direction, stepMm }: CheckChoices): string {
  const parts = [
    ...(skip.length > 0 ? [`without ${skip.length === 1 ? 'frame' : 'frames'} ${numbersText(skip)}`] : []),
    ...(order ? [`in the order of their ${order === 'name' ? 'names' : 'times'}`] : []),
    ...(direction && direction !== 'auto' ? [direction.replaceAll('-', ' ')] : []),
    ...(typeof stepMm === 'number' ? [`a step of ${stepMm} mm`] : []),
  ];
  return parts.join(', ');
}

/** Choices as values of an address: those of this screen and of the merge are the same. */
export function choicesQuery({ skip = [], order, direction, stepMm }: CheckChoices): Record<string, string> {
  return {
    ...(skip.length > 0 && { skip: skipText(skip) }),
    ...(order && { order }),
    ...(direction && direction !== 'auto' && { direction }),
    ...(typeof stepMm === 'number' && { step: String(stepMm) }),
  };
}

/** The choices that an address holds; what means nothing is passed over. */
export function choicesOf(query: URLSearchParams): CheckChoices {
  const choices: CheckChoices = {};
  const skip = framesOf(query.get('skip') ?? '').filter((number) => number > 0);
  if (skip.length > 0) choices.skip = skip;
  const order = query.get('order');
  if (order === 'time' || order === 'name') choices.order = order;
  const direction = query.get('direction');
  if (direction === 'near-to-far' || direction === 'far-to-near') choices.direction = direction;
  const step = Number(query.get('step') ?? Number.NaN);
  if (step > 0) choices.stepMm = step;
  return choices;
}

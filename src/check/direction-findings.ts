import type { FocusDirection } from '../stack/focus-direction.js';
import type { Finding } from './finding.js';

/** Which end of the stack is near, and what decided it. */
export function directionFindings({ direction, directionBy }: FocusDirection): Finding[] {
  const note = (message: string, advice = ''): Finding[] => [
    { kind: 'direction', rank: 'note', frames: [], message, advice },
  ];
  const order = direction.replaceAll('-', ' ');
  switch (directionBy) {
    case 'option':
      return note(`The frames run from ${order}.`);
    case 'focused distances':
      return note(`The frames run from ${order}, by the focused distances in their EXIF.`);
    case 'pictures':
      return note(`The frames run from ${order}: far detail shows through the blurred rims of near things.`);
    case 'growth':
      return note(
        `The frames are taken to run from ${order}: the picture ${direction === 'near-to-far' ? 'grows' : 'shrinks'} as much as on a rail.`,
        'If the camera stood still and its lens was focused, give the order with --direction.',
      );
    default:
      return note(
        'The reduced frames do not show which end of the stack is near: ends are named as if it ran from near to far. A merge looks at full size.',
      );
  }
}

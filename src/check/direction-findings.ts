import type { FocusDirection } from '../stack/focus-direction.js';
import type { Finding } from './finding.js';

/** Which end of the stack is near, and what told it. */
export function directionFindings({ direction, directionBy }: FocusDirection): Finding[] {
  if (directionBy === undefined) return [];
  const order = direction.replaceAll('-', ' ');
  const byGrowth = directionBy === 'growth';
  const from = byGrowth
    ? ', by the growth of the picture as on a rail'
    : directionBy === 'focused distances'
      ? ', by the focused distances in their EXIF'
      : '';
  return [
    {
      kind: 'direction',
      rank: 'note',
      frames: [],
      message: `The frames run from ${order}${from}.`,
      advice: byGrowth
        ? 'If the camera stood still and its lens was focused, say with --direction which end is near.'
        : '',
    },
  ];
}

import { optionName } from '../option-names.js';
import type { Finding } from '../result/finding.js';
import {
  type Direction,
  directionOnRail,
  type FocusDirection,
  isContradicted,
  type KnownDirection,
  type RailFacts,
} from '../stack/focus-direction.js';

const knownDirections: readonly KnownDirection[] = ['near-to-far', 'far-to-near'];

/** Which end of the stack is near, and what decided it; a flaw where the pictures show the reverse. */
export function directionFindings(way: FocusDirection, rail: RailFacts): Finding[] {
  if (isContradicted(way)) return [contradiction(way)];
  const { direction, directionBy } = way;
  const note = (message: string, advice = '', ways: readonly KnownDirection[] = []): Finding[] => [
    {
      ...{ kind: 'direction', rank: 'note', frames: [], message, advice },
      ...(ways.length > 0 && { fixes: ways.map((known) => ({ direction: known })) }),
    },
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
      return note(growthMessage(direction, rail));
    default:
      return note(
        'It is not known which end of the stack is near: ends are named as if it ran from near to far.',
        unknownAdvice(way, rail),
        knownDirections,
      );
  }
}

/** Message about a direction that follows from the growth. */
export function growthMessage(direction: Direction, rail: RailFacts): string {
  const grows = direction === 'near-to-far' ? 'grows' : 'shrinks';
  const said = `The frames run from ${direction.replaceAll('-', ' ')}: the picture ${grows} from frame to frame`;
  return rail.stepMm === undefined
    ? `${said} as it does when a rail moves the camera, and the blur beside near things agrees. If you turned the focus ring instead, give the order that you know with ${optionName('direction')}.`
    : `${said}, as it does when a rail moves the camera by this travel.`;
}

/** Advice where nothing shows which end is near. */
export function unknownAdvice({ directionEvidence }: FocusDirection, rail: RailFacts): string {
  const grown = directionEvidence && directionOnRail(directionEvidence, rail);
  const give = `give ${optionName('direction')} near-to-far or ${optionName('direction')} far-to-near`;
  if (!grown || rail.stepMm !== undefined)
    return `If you know in which order the frames were focused, ${give}.`;
  const [grows, order] = grown === 'near-to-far' ? ['grows', 'near to far'] : ['shrinks', 'far to near'];
  return `The picture ${grows} from frame to frame. If a rail moved the camera, the frames run from ${order}: give ${optionName('direction')} ${grown}, or the travel of the rail with ${optionName('stepMm')}. If you turned the focus ring, ${give}, the order in which you turned it.`;
}

function contradiction({ direction, directionBy }: FocusDirection): Finding {
  const [said, seen] = ['near to far', 'far to near'].sort((order) =>
    order.replaceAll(' ', '-') === direction ? -1 : 1,
  );
  const isGiven = directionBy === 'option';
  return {
    kind: 'direction',
    rank: 'flaw',
    frames: [],
    message: `${isGiven ? `${optionName('direction')} says` : 'The focused distances in the EXIF say'} that the frames run from ${said}, but the pictures show that they run from ${seen}: far detail shows through the blurred rims of things that would lie behind it. Depth and the clearing of blur go by ${isGiven ? 'what was given' : 'the EXIF'}.`,
    advice: isGiven
      ? `Leave ${optionName('direction')} out, or look whether the files are in capture order.`
      : `Look at the first and the last frame, and give the order with ${optionName('direction')}.`,
    fixes: knownDirections.filter((known) => known !== direction).map((known) => ({ direction: known })),
  };
}

import { countOf } from '../stack/words.js';
import { isToLookAt, type StackState } from './night-state.js';

/** What people read of a night, in order: what needs a decision comes first. */
export const nightGroups: readonly { title: string; holds: (stack: StackState) => boolean }[] = [
  { title: 'Failed', holds: ({ state }) => state === 'failed' },
  { title: 'Merged, but look', holds: isToLookAt },
  { title: 'Put off', holds: ({ state }) => state === 'put off' },
  { title: 'Not done yet', holds: ({ state }) => state === 'running' || state === 'waiting' },
  { title: 'Merged', holds: (stack) => stack.state === 'done' && !isToLookAt(stack) },
];

/** A night in a line: "3 of 4 stacks merged (1 of them to look at), 1 failed". */
export function nightSummary(stacks: readonly StackState[]): string {
  const count = (...states: StackState['state'][]): number =>
    stacks.filter(({ state }) => states.includes(state)).length;
  const left = count('waiting', 'running');
  const look = stacks.filter(isToLookAt).length;
  return [
    `${count('done')} of ${countOf(stacks.length, 'stack')} merged${look > 0 ? ` (${look} of them to look at)` : ''}`,
    `${count('failed')} failed`,
    ...(count('put off') > 0 ? [`${count('put off')} put off`] : []),
    ...(left > 0 ? [`${left} not done yet`] : []),
  ].join(', ');
}

import { describe, expect, it } from 'vitest';
import type { NightEvent } from '../../src/batch/night-events.js';
import { nightState } from '../../src/batch/night-state.js';
import { at, batchEvent, doneEvent, failedEvent } from './night-fixtures.js';

const start = (stack: string): NightEvent => ({
  event: 'start',
  at,
  stack,
  pid: 2,
  began: 'x',
  host: 'bench',
});

function states(...events: NightEvent[]): Record<string, string> {
  return Object.fromEntries([...nightState(events).stacks].map(([key, { state }]) => [key, state]));
}

describe('the state of a night', () => {
  it('is what was said of each stack last', () => {
    expect(
      states(
        batchEvent(['a', 'b', 'c', 'd']),
        ...[start('a'), failedEvent('a'), start('a'), doneEvent('a')],
        ...[start('b'), doneEvent('b'), start('b'), failedEvent('b')],
        start('c'),
      ),
    ).toEqual({ a: 'done', b: 'failed', c: 'running', d: 'waiting' });
  });

  it('what ran when its batch was killed waits again with the next batch', () => {
    expect(states(batchEvent(['a']), start('a'), batchEvent(['a']))).toEqual({ a: 'waiting' });
  });

  it('a failed stack that a whole batch does not find any more is dropped, a finished one stays', () => {
    const before = [batchEvent(['a', 'b', 'c']), failedEvent('a'), doneEvent('b')];
    expect(states(...before, batchEvent(['c']))).toEqual({ b: 'done', c: 'waiting' });
  });

  it('trying failed ones again leaves the others as they are', () => {
    const before = [batchEvent(['a', 'b', 'c']), failedEvent('a'), failedEvent('b'), doneEvent('c')];
    expect(states(...before, batchEvent(['a'], false))).toEqual({ a: 'failed', b: 'failed', c: 'done' });
  });

  it('passes over what is said of stacks that were never planned', () => {
    expect(states(doneEvent('x'), batchEvent(['a']), failedEvent('y'))).toEqual({ a: 'waiting' });
  });
});

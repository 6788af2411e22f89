import {
  type NightEvent,
  nightListSchema,
  nightListVersion,
  type PlannedStack,
} from '../../src/batch/night-events.js';

export const at = '2026-11-25T22:00:00.000Z';

export function planned(stack: string): PlannedStack {
  const size = { width: 96, height: 64 };
  return { stack, name: stack, folder: `/photos/${stack}`, frames: 3, size, estimateMs: 1000 };
}

export function batchEvent(stacks: string[], whole = true): NightEvent {
  return {
    ...{ event: 'batch', at, schema: nightListSchema, version: nightListVersion, programVersion: '1.0.0' },
    ...{ pid: 1, host: 'bench', root: '/photos', whole, stacks: stacks.map(planned) },
  };
}

export function doneEvent(stack: string, fields: object = {}): NightEvent {
  const size = { width: 96, height: 64 };
  return {
    ...{ event: 'done', at, stack, options: '[]', modelMs: 1000, frames: 3, framesUsed: 3, size },
    ...{ wallMs: 2000, verdicts: [], warnings: [], notes: [], files: [], thumbnail: 'data:,' },
    ...fields,
  };
}

export function failedEvent(stack: string, reason = 'no frames'): NightEvent {
  return { event: 'failed', at, stack, kind: 'frames', reason, wallMs: 500 };
}

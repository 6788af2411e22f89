import { textCell } from '../markup/csv-cell.js';
import { lookReasons, type StackReport } from './night-events.js';
import { isToLookAt, type NightState, type StackState } from './night-state.js';

const columns = [
  'stack',
  'state',
  'reason',
  'frames',
  'framesUsed',
  'width',
  'height',
  'startedAt',
  'wallS',
  'spoils',
  'flaws',
  'warnings',
  'folder',
  'result',
] as const;

/** The stacks of a night as CSV (RFC 4180: CRLF, quotes doubled), one a line, in the order of the plan. */
export function nightTable(night: NightState): string {
  const rows = [...night.stacks.values()].map((stack) =>
    columns.map((column) => textCell(String(cellOf(stack, column)))),
  );
  return [columns.join(','), ...rows.map((row) => row.join(','))].map((line) => `${line}\r\n`).join('');
}

function cellOf(stack: StackState, column: (typeof columns)[number]): string | number {
  const { planned, state, done, failed, putOff, start } = stack;
  const isDone = state === 'done';
  switch (column) {
    case 'stack':
      return planned.stack;
    case 'state':
      return isToLookAt(stack) ? 'merged, but look' : state;
    case 'reason':
      return state === 'failed' ? (failed?.reason ?? '') : state === 'put off' ? (putOff?.reason ?? '') : '';
    case 'frames':
      return planned.frames;
    case 'framesUsed':
      return isDone && done ? done.framesUsed : '';
    case 'width':
      return planned.size.width;
    case 'height':
      return planned.size.height;
    case 'startedAt':
      return start?.at ?? '';
    case 'wallS': {
      const wallMs = isDone ? done?.wallMs : state === 'failed' ? failed?.wallMs : undefined;
      return wallMs === undefined ? '' : (wallMs / 1000).toFixed(1);
    }
    case 'spoils':
      return isDone && done ? lookReasons(done).join(' ') : '';
    case 'flaws':
      return isDone && done ? flaws(done).join(' ') : '';
    case 'warnings':
      return isDone && done ? done.warnings.join(' ') : '';
    case 'folder':
      return planned.folder;
    case 'result':
      return isDone ? planned.name : '';
  }
}

function flaws({ findings = [] }: Pick<StackReport, 'findings'>): string[] {
  return findings.flatMap(({ rank, message }) => (rank === 'flaw' ? [message] : []));
}

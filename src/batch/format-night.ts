import { percentText } from '../result/report/numbers.js';
import { countOf, spanText } from '../stack/words.js';
import type { BatchEvent } from './batch-events.js';
import { lookReasons, type PlannedStack, wantsLook } from './night-events.js';

/** A size on disk: "4.2 MB", "1.3 GB". */
export function bytesText(bytes: number): string {
  const [value, unit] =
    bytes < 1e6 ? [bytes / 1e3, 'kB'] : bytes < 1e9 ? [bytes / 1e6, 'MB'] : [bytes / 1e9, 'GB'];
  return `${value < 10 ? value.toFixed(1) : Math.round(value)} ${unit}`;
}

/** A moment on the local clock: "2026-11-25 22:01:07". */
export function clockText(time: Date): string {
  const two = (value: number): string => String(value).padStart(2, '0');
  const day = `${time.getFullYear()}-${two(time.getMonth() + 1)}-${two(time.getDate())}`;
  return `${day} ${two(time.getHours())}:${two(time.getMinutes())}:${two(time.getSeconds())}`;
}

/** "40 frames of 6000 x 4000 pixels". */
export function framesText({ frames, size }: PlannedStack): string {
  if (frames === 0) return 'no frame that can be read';
  return `${countOf(frames, 'frame')} of ${size.width} x ${size.height} pixels`;
}

/** One event of a batch as a line for people; undefined for what is not worth one. */
export function eventText(event: BatchEvent): string | undefined {
  switch (event.event) {
    case 'parting':
    case 'notice':
      return event.message;
    case 'plan': {
      const before = event.finished > 0 ? `, ${event.finished} finished before` : '';
      const time = event.toDo > 0 ? `, about ${spanText(event.estimateMs)}` : '';
      return `${countOf(event.toDo, 'stack')} to merge${before}${time}`;
    }
    case 'found':
      return `New: ${event.stacks.map(({ stack, frames }) => `${stack} (${countOf(frames, 'frame')})`).join(', ')}`;
    case 'begin': {
      const { planned, ordinal, total } = event;
      const span = spanText(planned.estimateMs);
      return `[${ordinal}/${total}] ${planned.stack}: ${framesText(planned)}, about ${span}`;
    }
    case 'done': {
      const warnings = event.warnings.length > 0 ? `, ${countOf(event.warnings.length, 'warning')}` : '';
      const look = wantsLook(event) ? `merged, but look: ${lookReasons(event).join(' ')}` : 'done';
      return `${event.stack}: ${look} (${spanText(event.wallMs)}${warnings})`;
    }
    case 'failed':
      return `${event.stack}: FAILED: ${event.reason}`;
    case 'put-off':
      return `${event.stack}: put off: ${event.reason}`;
    case 'whole':
      return batchProgressText(event);
    case 'end':
      return `End: ${event.reason}`;
    default:
      return undefined;
  }
}

/** "3 of 12 stacks done (1 to look at), 1 failed, about 25 min left". */
export function batchProgressText(whole: {
  done: number;
  look: number;
  failed: number;
  total: number;
  leftMs: number;
}): string {
  const look = whole.look > 0 ? ` (${whole.look} to look at)` : '';
  const failed = whole.failed > 0 ? `, ${whole.failed} failed` : '';
  const isOver = whole.done + whole.failed >= whole.total;
  const left = isOver ? '' : `, about ${spanText(whole.leftMs)} left`;
  return `${whole.done} of ${countOf(whole.total, 'stack')} done${look}${failed}${left}`;
}

/** "45 %, 30 s left", with what is known; undefined where nothing is. */
export function stackProgressFacts(
  share: number | undefined,
  leftMs: number | undefined,
): string | undefined {
  const facts = [
    ...(share === undefined ? [] : [percentText(Math.round(100 * share))]),
    ...(leftMs === undefined ? [] : [`${spanText(leftMs)} left`]),
  ];
  return facts.length === 0 ? undefined : facts.join(', ');
}

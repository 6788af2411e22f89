import { fileURLToPath } from 'node:url';
import { verdictBefore } from '../result/verdict.js';
import { countOf } from '../stack/words.js';
import type { Desk } from './desk.js';
import { startJobProcess } from './job-process.js';
import type { JobChange, JobEnd, JobOrder, JobRun } from './job-table.js';
import { inDeskWords } from './option-labels.js';
import type { ShootOrder, ShootView } from './protocol.js';
import { stackTitle } from './sample.js';
import type { WatchCommand, WatchMessage } from './watch-messages.js';

const childFile = fileURLToPath(new URL('../../dist/desk/watch-child.js', import.meta.url));
/** A process that was asked to end and still lives after this time is ended. */
const killMs = 6000;

/** What watches have seen, by the numbers of their jobs. */
const views = new Map<number, ShootView>();
/** Watches that are kept to look at. */
const viewsKept = 8;

export function shootView(job: number): ShootView | undefined {
  return views.get(job);
}

/** A watch over a folder as a job, in a process of its own. */
export function watchOrder(desk: Desk, order: ShootOrder): JobOrder {
  const { folder } = order;
  return {
    ...{ kind: 'watch', title: stackTitle(folder), folder },
    begin: (change, { id }) => beginWatch(desk, order, id, change),
  };
}

function beginWatch(desk: Desk, order: ShootOrder, id: number, change: (change: JobChange) => void): JobRun {
  const { folder, stepMm, plannedFrames } = order;
  const view: ShootView = {
    ...{ ...order, job: id, name: stackTitle(folder), frames: [], last: null, judged: 0 },
    ...{ coverage: '', coveredPercent: null, framesToGo: null, framesToGoBy: null },
    ...{ remarks: [], arriving: null, notice: null },
  };
  views.set(id, view);
  for (const old of [...views.keys()].slice(0, -viewsKept)) views.delete(old);
  const { child, send, stop } = startJobProcess<WatchCommand>(childFile, 'pipe', killMs);
  let end: JobEnd | undefined;
  let said = '';
  child.stderr?.on('data', (chunk: Buffer) => {
    said = (said + chunk.toString()).slice(-2000);
  });
  child.on('message', (message: WatchMessage) => {
    end = take(view, message) ?? end;
    change({ stage: view.coverage || 'Waiting for frames', share: shareOf(view) });
    // What is judged comes after the event of its frame.
    if (message.type !== 'event' || message.event.event !== 'frame') desk.events.send('shoot', view);
  });
  const ended = new Promise<JobEnd>((resolve) => {
    const failed = (reason: string): JobEnd => ({
      state: 'failed',
      message: `The watch broke off: ${reason}`,
    });
    child.once('error', (error) => resolve(failed(error.message)));
    child.once('close', () => resolve(end ?? failed(said.trim().split('\n').at(-1) ?? '')));
  });
  const options = { ...(stepMm !== null && { stepMm }), ...(plannedFrames !== null && { plannedFrames }) };
  send({ type: 'watch', folder, options });
  return { ended, stop };
}

/** Takes what the process tells into the view; returns how the watch ends, where it says so. */
function take(view: ShootView, message: WatchMessage): JobEnd | undefined {
  if (message.type === 'failed') return { state: 'failed', message: inDeskWords(message.message) };
  if (message.type === 'judged') {
    view.frames = message.frames.map(
      ({ number, name, isGood, positionSteps, positionMm, centre, sharpestPercent }) => ({
        ...{ number, name, isGood, positionSteps, positionMm, centre, sharpestPercent },
      }),
    );
    view.remarks = message.findings.map(({ rank, message: text, advice }) => ({
      rank,
      text: inDeskWords(`${text} ${advice}`.trim()),
    }));
    return undefined;
  }
  const { event, lines, coverage } = message;
  const text = inDeskWords(lines.join(' '));
  switch (event.event) {
    case 'arriving':
      view.arriving = event.name;
      break;
    case 'frame': {
      const { coveredPercent, framesToGo, framesToGoBy, name, isGood } = event;
      Object.assign(view, { coverage, coveredPercent, framesToGo, framesToGoBy });
      view.last = { name, isGood, text: text.replace(/^! /, '') };
      view.judged++;
      view.notice = null;
      if (view.arriving === name) view.arriving = null;
      break;
    }
    case 'end':
      view.arriving = null;
      return {
        state: 'done',
        message:
          event.frames < 2
            ? countOf(event.frames, 'frame')
            : `${countOf(event.frames, 'frame')}. ${verdictBefore(event.findings)}`,
      };
    case 'finding':
    case 'begin':
      break;
    default:
      view.notice = text;
  }
  return undefined;
}

function shareOf({ frames, framesToGo, framesToGoBy, coveredPercent }: ShootView): number {
  return framesToGoBy === 'plan' && framesToGo !== null
    ? frames.length / Math.max(1, frames.length + framesToGo)
    : (coveredPercent ?? 0) / 100;
}

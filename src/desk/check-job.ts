import { fileURLToPath } from 'node:url';
import type { CheckOptions } from '../check/check-options.js';
import type { CheckReport } from '../check/check-report.js';
import { verdictBefore } from '../result/verdict.js';
import { startJobProcess } from './job-process.js';
import type { JobChange, JobEnd, JobOrder, JobRun } from './job-table.js';
import { inDeskWords } from './option-labels.js';
import type { CheckChoices, CheckView } from './protocol.js';
import { stackTitle } from './sample.js';

/** What the process of a check is told. */
export type CheckCommand =
  | { type: 'check'; folder: string; options: Partial<CheckOptions>; nice: number }
  | { type: 'stop' };

/** What it tells. */
export type CheckMessage =
  | { type: 'progress'; done: number; frames: number }
  /** The small picture of a frame, base64. */
  | { type: 'strip'; number: number; jpeg: string }
  | { type: 'report'; report: CheckReport }
  | { type: 'failure'; message: string };

const childFile = fileURLToPath(new URL('../../dist/desk/check-child.js', import.meta.url));

/** Checks give way to the page, which shares the machine with them. */
const nice = 5;
/** A process that was asked to stop and still lives after this time is ended. */
const killMs = 1000;
/** Checks whose reports and pictures are kept: some megabytes each. */
const keptChecks = 8;
/** Share of the whole that reading the frames takes; the rest is judging. */
const readShare = 0.9;

interface KeptCheck extends Omit<CheckView, 'seen'> {
  strips: Map<number, Buffer>;
}

/** Checks by the number of their job, the latest at the end. */
const kept = new Map<number, KeptCheck>();

/** What is known of a check; undefined when it is no longer kept. */
export function checkView(id: number): CheckView | undefined {
  const found = kept.get(id);
  if (!found) return undefined;
  const { strips, ...view } = found;
  return { ...view, seen: [...strips.keys()].sort((first, second) => first - second) };
}

export function stripPicture(id: number, frame: number): Buffer | undefined {
  return kept.get(id)?.strips.get(frame);
}

/** The latest check of a folder; undefined where none is kept. */
export function latestCheck(folder: string): number | undefined {
  return [...kept].findLast(([, view]) => view.folder === folder)?.[0];
}

/** A check as a job, in a process of its own. */
export function checkOrder(folder: string, choices: CheckChoices): JobOrder {
  return {
    ...{ kind: 'check', title: stackTitle(folder), folder, lane: 'check' },
    begin: (change, { id }) => {
      const view: KeptCheck = { folder, choices, report: null, strips: new Map() };
      kept.set(id, view);
      for (const old of [...kept.keys()].slice(0, -keptChecks)) kept.delete(old);
      return beginCheck(view, change);
    },
  };
}

function beginCheck(view: KeptCheck, change: (change: JobChange) => void): JobRun {
  const { child, send, stop } = startJobProcess<CheckCommand>(childFile, 'ignore', killMs);
  const startedMs = performance.now();
  let end: JobEnd | undefined;
  let isStopped = false;
  child.on('message', (message: CheckMessage) => {
    if (message.type === 'progress') {
      const { done, frames } = message;
      const elapsedS = (performance.now() - startedMs) / 1000;
      const stage = done < frames ? `Frame ${done} of ${frames}` : 'Judging';
      const leftS = done < frames ? (elapsedS / done) * (frames - done) : null;
      change({ stage, share: (readShare * done) / frames, leftS });
    } else if (message.type === 'strip') {
      view.strips.set(message.number, Buffer.from(message.jpeg, 'base64'));
      change({ picture: view.strips.size });
    } else if (message.type === 'report') {
      view.report = inWordsOfDesk(message.report);
      end = { state: 'done', message: verdictBefore(message.report.findings) };
    } else end = { state: 'failed', message: inDeskWords(message.message) };
  });
  const ended = new Promise<JobEnd>((resolve) => {
    child.once('error', () => {});
    child.once('close', () => {
      if (isStopped) resolve({ state: 'cancelled', message: 'The check was stopped.' });
      else resolve(end ?? { state: 'failed', message: 'The check ended before it was done.' });
    });
  });
  send({ type: 'check', folder: view.folder, options: optionsOf(view.choices), nice });
  return {
    ended,
    stop() {
      isStopped = true;
      stop();
    },
  };
}

/** Choices that are made, as options. */
export function optionsOf(choices: CheckChoices): Partial<CheckOptions> {
  const { skip, order, direction, stepMm } = choices;
  return {
    ...(skip && { skip }),
    ...(order && { order }),
    ...(direction && { direction }),
    ...(typeof stepMm === 'number' && { stepMm }),
  };
}

function inWordsOfDesk(report: CheckReport): CheckReport {
  const findings = report.findings.map((finding) => ({
    ...finding,
    message: inDeskWords(finding.message),
    advice: inDeskWords(finding.advice),
  }));
  return { ...report, findings };
}

import { basename, dirname, join } from 'node:path';
import { resolveBatch } from '../batch/batch-options.js';
import { framesText } from '../batch/format-night.js';
import { lookReasons } from '../batch/night-events.js';
import { nightGroups, nightSummary } from '../batch/night-groups.js';
import { readNightList } from '../batch/night-list.js';
import { isToLookAt, nightState, type StackState } from '../batch/night-state.js';
import { readStatus } from '../batch/night-status.js';
import { dryRun } from '../batch/run-batch.js';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { mapLimited } from '../stack/map-limited.js';
import { spanText } from '../stack/words.js';
import { photographNames, readEntries } from './list-folder.js';
import { inDeskWords } from './option-labels.js';
import type { NightEntry, NightForm, NightStack, NightView } from './protocol.js';
import { pictureAddress } from './thumbnails.js';

const filesAtOnce = 8;

/** Where the results of a folder's stacks go: beside it, or into another folder under the same name. */
export function nightOut(folder: string, into: string | null): string {
  const { out } = resolveBatch(folder, {});
  return into === null ? out : join(into, basename(out));
}

/**
 * The stacks below a folder, and how the batch over it stands.
 *
 * @param out Folder of all results.
 * @throws InputError when the folder cannot be searched.
 */
export async function nightForm(folder: string, out: string, signal: AbortSignal): Promise<NightForm> {
  const status = await nightView(out).catch(() => null);
  const merge = await earlierOptions(out);
  const { plan } = await dryRun(folder, { out, merge }, signal);
  const listed = [
    ...plan.tasks.map(({ planned }) => ({ planned, isFinished: false, fault: null })),
    ...plan.finished.map((planned) => ({ planned, isFinished: true, fault: null })),
    ...plan.faults.map(({ planned, reason }) => ({ planned, isFinished: false, fault: inDeskWords(reason) })),
  ];
  const stacks = await mapLimited(
    listed,
    filesAtOnce,
    async ({ planned, isFinished, fault }): Promise<NightStack> => {
      return {
        ...{ stack: planned.stack, folder: planned.folder, frames: planned.frames, isFinished, fault },
        estimateS: planned.estimateMs / 1000,
        picture: await photographOf(planned.folder),
      };
    },
  );
  stacks.sort((a, b) => (a.stack < b.stack ? -1 : 1));
  const known = { stepMm: merge.stepMm ?? null, fieldWidthMm: merge.fieldWidthMm ?? null };
  return { folder, out, stacks, status, known };
}

/** The options of merges with which a batch in `out` was last started; none where there was no batch. */
export async function earlierOptions(out: string): Promise<Partial<MergeOptions>> {
  const { merge = {} } = nightState((await readNightList(out)) ?? []).batch ?? {};
  try {
    resolveOptions(merge);
    return merge;
  } catch {
    // Of another version.
    return {};
  }
}

/** Address of the middle photograph of a folder, made small; null where there is none. */
async function photographOf(folder: string): Promise<string | null> {
  const names = photographNames(await readEntries(folder).catch(() => []));
  const middle = names[names.length >> 1];
  return middle === undefined ? null : pictureAddress(join(folder, middle), 160);
}

/** How a batch stands, by its night list. Throws InputError when `out` holds none. */
export async function nightView(out: string): Promise<NightView> {
  const { night, holder } = await readStatus(out);
  const stacks = [...night.stacks.values()];
  const folder = night.batch?.root ?? '';
  const isBeside = folder === '' || nightOut(folder, null) === out;
  const unended = night.batch ? 'It did not end by itself: start it again to go on.' : 'Nothing was begun.';
  return {
    out,
    folder,
    into: isBeside ? null : dirname(out),
    summary: nightSummary(stacks),
    isRunning: holder !== undefined,
    // A night that is through needs no more words.
    end: holder || night.end?.state === 'done' ? '' : inDeskWords(night.end?.reason ?? unended),
    groups: await groupsOf(out, stacks),
  };
}

async function groupsOf(out: string, stacks: readonly StackState[]): Promise<NightView['groups']> {
  const groups = nightGroups.map(async ({ title, holds }) => ({
    title,
    stacks: await Promise.all(stacks.filter(holds).map((stack) => entryOf(out, stack))),
  }));
  return (await Promise.all(groups)).filter((group) => group.stacks.length > 0);
}

async function entryOf(out: string, stack: StackState): Promise<NightEntry> {
  const { planned, state, done, failed, putOff } = stack;
  const shown = state === 'done' ? done : undefined;
  const reason = state === 'failed' ? failed?.reason : state === 'put off' ? putOff?.reason : undefined;
  const took = shown ? [`merged in ${spanText(shown.wallMs)}`] : [];
  return {
    stack: planned.stack === '.' ? basename(planned.folder) : planned.stack,
    state,
    facts: [...(planned.frames > 0 ? [framesText(planned)] : []), ...took].join(', '),
    reason: reason === undefined ? null : inDeskWords(reason),
    // What spoils a picture stands for itself; elsewhere the verdict on the whole comes first.
    verdicts: shown ? (isToLookAt(stack) ? lookReasons(shown) : shown.verdicts) : [],
    warnings: shown?.warnings ?? [],
    picture: shown?.thumbnail ?? (await photographOf(planned.folder)),
    result: done ? join(out, planned.name) : null,
  };
}

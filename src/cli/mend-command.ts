import { Command } from 'commander';
import { named, UsageError } from '../errors.js';
import type { ApplyOptions, ApplyOutcome } from '../mend/apply-mends.js';
import type { MendAddition } from '../mend/edit-mends.js';
import { maxStrokeWidthPx, minStrokeWidthPx } from '../mend/mend-region.js';
import { maxFeatherPx, maxNoteLength } from '../mend/mends-file.js';
import type { OptionKind, OptionTable } from '../options/option.js';
import { number, several, text, toggle } from '../options/option-kinds.js';
import type { SourceRule } from '../options/source-rule.js';
import { printable } from '../printable.js';
import { framesFrom, jsonAnswer } from './common-options.js';
import { openReadingLine } from './frame-progress.js';
import { interruptible } from './interruptible.js';
import { addFlags, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
The mends are kept in mends.json of the result, the files of the merge itself in its subfolder "unmended".
Every run starts from those: the same mends give the same picture.

Exit codes:
  0    done
  1    a defect of Lamella
  2    an option is wrong, or a mend that was to be added cannot be applied
  3    the result, a recorded mend or a frame cannot be read or applied
  4    the result cannot be written
  5    the machine does not give what is needed: memory, threads, open files, a folder
  130  interrupted; nothing was changed

Examples:
  lamella mend bee-head-merged --add frame=12 --region 1200,830,64,48
  lamella mend bee-head-merged --add frame=9 --region "310,95 342,90 350,130 305,128" --note "left antenna"
  lamella mend bee-head-merged --add rule=weigh --along "402,88 431,140 437,201" --width 9
  lamella mend bee-head-merged --list
  lamella mend bee-head-merged --undo`;

interface OwnOptions {
  add: string[];
  region: string[];
  along: string[];
  widthPx?: number;
  featherPx?: number;
  note?: string;
  drop: number[];
  keep: number[];
  list: boolean;
  undo: boolean;
  framesFrom?: string;
  json: boolean;
}

const mendIds: OptionKind<number[]> = {
  range: `the ids of mends, as ${named('list')} shows them,`,
  isValid: (value): value is number[] => Array.isArray(value),
  read: (given) => (/^\d+(,\d+)*$/.test(given) ? given.split(',').map(Number) : undefined),
  valueName: 'ID',
  unset: [],
};

const noteText: OptionKind<string> = {
  ...text(`${maxNoteLength} characters at most`, new RegExp(`^[^]{0,${maxNoteLength}}$`), 'TEXT'),
  show: (value) => String(String(value).length),
};

const ownOptions: OptionTable<OwnOptions> = {
  add: {
    kind: several(
      text(
        'frame=N, or rule=auto, select or weigh,',
        /^(frame=\d{1,5}|rule=(auto|select|weigh))$/,
        'frame=N|rule=RULE',
      ),
    ),
    help: 'record a mend from frame N, or as another rule merges it, over --region or --along; then apply all',
  },
  region: {
    // `addMends` reads it.
    kind: several(text('a region', /^/, 'x,y,w,h|polygon')),
    help: 'its region in composite pixels: x,y,w,h, or three or more corners "x,y x,y x,y"',
  },
  along: {
    // `addMends` reads it.
    kind: several(text('points', /^/, 'POINTS')),
    help: 'instead of a region a stroke of the brush, along a hair: one or more points "x,y x,y"',
  },
  widthPx: {
    kind: number(minStrokeWidthPx, maxStrokeWidthPx, 'px'),
    help: 'width of the brush of --along',
  },
  featherPx: {
    kind: number(0, maxFeatherPx, 'px'),
    help: 'width of the blend around the region',
    defaultText: 'a quarter of its mean width, 2 to 160: of a stroke half its width',
  },
  note: { kind: noteText, help: 'text for the list' },
  drop: { kind: mendIds, help: 'keep a mend on the list, but out of the picture' },
  keep: { kind: mendIds, help: 'put a dropped mend back into the picture' },
  list: { kind: toggle, help: 'list the mends and change nothing' },
  undo: {
    kind: toggle,
    help: 'bring back the unmended picture and maps; the mends stay on the list',
  },
  framesFrom,
  json: jsonAnswer,
};

/** `lamella mend RESULT`. */
export function mendCommand(system: System): Command {
  const command = new Command('mend')
    .summary('take regions of the picture from frames that you choose, or as another rule merges them')
    .description(
      'Apply the mends recorded in a result: each takes a region of the picture, or a stroke along a hair, from a frame that you choose or as another rule merges it, blended in without a seam, at full size and bit depth. Outside the regions and their feather no pixel changes.',
    )
    .argument('<result>', 'result folder of a merge')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, ownOptions).action((folder: string, flags: Record<string, unknown>) =>
    runMend(system, folder, readFlags(ownOptions, flags)),
  );
}

async function runMend(system: System, folder: string, flags: OwnOptions): Promise<void> {
  checkFlags(flags);
  if (flags.list) return printList(system, folder, flags);
  const { editMends } = await import('../mend/apply-mends.js');
  await interruptible(
    system.signals,
    async (signal) => {
      const options = { framesFrom: flags.framesFrom, signal, onWait: waitNotice(system, flags, folder) };
      if (flags.undo) {
        const { undoMends } = await import('../mend/undo-mends.js');
        const { mends } = await undoMends(folder, options);
        const listed = mends.length > 0 ? 'The mends stay listed.' : 'No mends are listed.';
        if (!flags.json) system.stderr.write(`The unmended picture and maps are back. ${listed}\n`);
        return;
      }
      const { addMends, setKept } = await import('../mend/edit-mends.js');
      const additions = additionsOf(flags);
      const { drop, keep } = flags;
      const { onProgress: onRead, close } = openReadingLine(system.stderr);
      const outcome = await editMends(
        folder,
        async (recorded, record) =>
          setKept(await addMends(recorded, additions, record, flags.framesFrom), drop, keep),
        { ...options, onRead },
      ).finally(close);
      if (!flags.json) reportOutcome(system, outcome);
    },
    () => undefined,
  );
  if (flags.json) await printList(system, folder, flags);
}

function checkFlags(flags: OwnOptions): void {
  const others = [flags.list, flags.undo, flags.add.length + flags.drop.length + flags.keep.length > 0];
  if (others.filter(Boolean).length > 1) {
    throw new UsageError(
      'Expected one of --list, --undo and changes to the mends (--add, --drop, --keep) but received several',
    );
  }
  for (const [flag, value] of [
    ['--feather', flags.featherPx],
    ['--note', flags.note],
  ]) {
    if (value !== undefined && flags.add.length === 0) {
      throw new UsageError(`Expected --add frame=N and --region with ${flag} but received ${flag} alone`);
    }
  }
  const { add, region, along, widthPx } = flags;
  if (region.length > 0 && along.length > 0) {
    throw new UsageError('Expected --region or --along but received both: add them one after the other');
  }
  if (add.length !== region.length + along.length) {
    throw new UsageError(
      `Expected one --region or --along for each --add but received ${add.length} --add and ${region.length + along.length} of them`,
    );
  }
  if (along.length > 0 !== (widthPx !== undefined)) {
    throw new UsageError('Expected --along and --width together but received one of them alone');
  }
}

function additionsOf({ add, region, along, widthPx, featherPx, note = '' }: OwnOptions): MendAddition[] {
  return add.map((given, i) => {
    const [kind, value] = given.split('=');
    return {
      from: kind === 'rule' ? { rule: value as SourceRule } : { frame: Number(value) },
      over: widthPx === undefined ? { region: region[i] } : { along: along[i], widthPx },
      ...(featherPx !== undefined && { featherPx }),
      note,
    };
  });
}

/** Prints whose end is waited for. */
function waitNotice(system: System, flags: OwnOptions, folder: string): ApplyOptions['onWait'] {
  return (holder) => {
    const notice = `${folder} is being mended by ${holder}: waiting for its end.`;
    if (!flags.json) system.stderr.write(`${printable(notice)}\n`);
  };
}

function reportOutcome(system: System, outcome: ApplyOutcome): void {
  for (const note of outcome.notes) system.stderr.write(`${printable(`Note: ${note}`)}\n`);
  const { mends } = outcome;
  const count = outcome.applied.length;
  if (mends.length === 0) {
    system.stderr.write('No mends are recorded. Add one with --add frame=N --region x,y,w,h.\n');
  } else {
    system.stderr.write(
      `${count} of ${mends.length} ${mends.length === 1 ? 'mend is' : 'mends are'} in the picture.\n`,
    );
  }
}

async function printList(system: System, folder: string, flags: OwnOptions): Promise<void> {
  const { readMends } = await import('../mend/mends-file.js');
  const { readRunRecord } = await import('../result/read-run-record.js');
  const { appliedMends, mendState } = await import('../mend/mended-record.js');
  const { describeRegion } = await import('../mend/mend-region.js');
  const record = await readRunRecord(folder);
  const applied = appliedMends(record);
  const mends = (await readMends(folder, record.size)).map((mend) => ({
    ...mend,
    state: mendState(mend, applied),
  }));
  if (flags.json) {
    system.stdout.write(`${JSON.stringify({ mends })}\n`);
    return;
  }
  if (mends.length === 0) system.stderr.write('No mends are recorded.\n');
  for (const { id, frame, rule, region, featherPx, note, state } of mends) {
    const columns = [
      `${id}`,
      rule === undefined ? `frame ${frame}` : `rule ${rule}`,
      describeRegion(region),
      `feather ${featherPx} px`,
      state,
      note,
    ];
    system.stdout.write(`${printable(columns.join('  ')).trimEnd()}\n`);
  }
}

import { Command } from 'commander';
import { UsageError } from '../errors.js';
import type { ApplyOptions, ApplyOutcome } from '../mend/apply-mends.js';
import { readQuantity } from '../options/read-quantity.js';
import { printable } from '../printable.js';
import { interruptible } from './interruptible.js';
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
  lamella mend bee-head-merged --list
  lamella mend bee-head-merged --undo`;

interface MendFlags {
  add: string[];
  region: string[];
  feather?: string;
  note?: string;
  drop?: string;
  keep?: string;
  list?: boolean;
  undo?: boolean;
  framesFrom?: string;
  json?: boolean;
}

/** `lamella mend RESULT`. */
export function mendCommand(system: System): Command {
  const collect = (text: string, before: string[] = []) => [...before, text];
  return new Command('mend')
    .summary('take regions of the picture from frames that you choose')
    .description(
      'Apply the mends recorded in a result: each takes a region of the picture from a frame that you choose, blended in without a seam, at full size and bit depth. Outside the regions and their feather no pixel changes.',
    )
    .argument('<result>', 'result folder of a merge')
    .helpOption('-h, --help', 'show this help')
    .option('--add <frame=N>', 'record a mend from frame N over --region, then apply all', collect)
    .option(
      '--region <x,y,w,h|polygon>',
      'its region in composite pixels: x,y,w,h, or three or more corners "x,y x,y x,y"',
      collect,
    )
    .option(
      '--feather <PX>',
      'width of the blend around the region, 0 to 1000 px (default: a quarter of its mean width, 12 to 160)',
    )
    .option('--note <TEXT>', 'words for the list')
    .option('--drop <ID>', 'keep a mend on the list, but out of the picture')
    .option('--keep <ID>', 'put a dropped mend back into the picture')
    .option('--list', 'list the mends and change nothing')
    .option('--undo', 'bring back the unmended picture and maps; the mends stay on the list')
    .option('--frames-from <FOLDER>', 'where the frames lie now, if they moved since the merge')
    .option('--json', 'print one JSON object on stdout instead of words')
    .addHelpText('after', epilogue)
    .action((folder: string, flags: Partial<MendFlags>) =>
      runMend(system, folder, { add: [], region: [], ...flags }),
    );
}

async function runMend(system: System, folder: string, flags: MendFlags): Promise<void> {
  checkFlags(flags);
  if (flags.list) return printList(system, folder, flags);
  const { editMends } = await import('../mend/apply-mends.js');
  await interruptible(
    system.signals,
    async (signal) => {
      const options = { framesFrom: flags.framesFrom, signal, onWait: waitTeller(system, flags, folder) };
      if (flags.undo) {
        const { undoMends } = await import('../mend/undo-mends.js');
        await undoMends(folder, options);
        if (!flags.json)
          system.stderr.write('The unmended picture and maps are back. The mends stay listed.\n');
        return;
      }
      const { addMends, setKept } = await import('../mend/edit-mends.js');
      const additions = readAdditions(flags);
      const [drop, keep] = [readIds(flags.drop, '--drop'), readIds(flags.keep, '--keep')];
      const outcome = await editMends(
        folder,
        async (recorded, record) =>
          setKept(await addMends(recorded, additions, record, flags.framesFrom), drop, keep),
        options,
      );
      if (!flags.json) reportOutcome(system, outcome);
    },
    () => undefined,
  );
  if (flags.json) await printList(system, folder, flags);
}

function checkFlags(flags: MendFlags): void {
  const others = [
    flags.list,
    flags.undo,
    flags.add.length > 0 || flags.drop !== undefined || flags.keep !== undefined,
  ];
  if (others.filter(Boolean).length > 1) {
    throw new UsageError(
      'Expected one of --list, --undo and changes to the mends (--add, --drop, --keep) but received several',
    );
  }
  for (const [flag, value] of [
    ['--feather', flags.feather],
    ['--note', flags.note],
  ]) {
    if (value !== undefined && flags.add.length === 0) {
      throw new UsageError(`Expected --add frame=N and --region with ${flag} but received ${flag} alone`);
    }
  }
  if (flags.add.length !== flags.region.length) {
    throw new UsageError(
      `Expected one --region for each --add but received ${flags.add.length} --add and ${flags.region.length} --region`,
    );
  }
}

function readAdditions(
  flags: MendFlags,
): { frame: number; region: string; featherPx?: number; note: string }[] {
  const featherPx = flags.feather === undefined ? undefined : readQuantity(flags.feather, 'px');
  if (flags.feather !== undefined && !(featherPx !== undefined && featherPx >= 0 && featherPx <= 1000)) {
    throw new UsageError(`Expected a number from 0 to 1000 px for --feather but received ${flags.feather}`);
  }
  const note = flags.note ?? '';
  if (note.length > 1000) {
    throw new UsageError(`Expected 1000 characters at most for --note but received ${note.length}`);
  }
  return flags.add.map((text, i) => {
    const number = /^frame=(\d{1,5})$/.exec(text)?.[1];
    if (number === undefined) throw new UsageError(`Expected frame=N for --add but received ${text}`);
    return {
      frame: Number(number),
      region: flags.region[i],
      ...(featherPx !== undefined && { featherPx }),
      note,
    };
  });
}

function readIds(text: string | undefined, flag: string): number[] {
  if (text === undefined) return [];
  if (!/^\d+(,\d+)*$/.test(text)) {
    throw new UsageError(`Expected the ids of mends, as --list shows them, for ${flag} but received ${text}`);
  }
  return text.split(',').map(Number);
}

/** Tells whose end is waited for. */
function waitTeller(system: System, flags: MendFlags, folder: string): ApplyOptions['onWait'] {
  return (holder) => {
    const words = `${folder} is being mended by ${holder}: waiting for its end.`;
    if (!flags.json) system.stderr.write(`${printable(words)}\n`);
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

async function printList(system: System, folder: string, flags: MendFlags): Promise<void> {
  const { readMends } = await import('../mend/mends-file.js');
  const { readRunRecord } = await import('../result/read-run-record.js');
  const { appliedMends, mendState } = await import('../mend/mended-record.js');
  const { regionWords } = await import('../mend/mend-region.js');
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
  for (const { id, frame, region, featherPx, note, state } of mends) {
    const words = [`${id}`, `frame ${frame}`, regionWords(region), `feather ${featherPx} px`, state, note];
    system.stdout.write(`${printable(words.join('  ')).trimEnd()}\n`);
  }
}

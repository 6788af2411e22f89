import { parseArgs } from 'node:util';
import type { Size } from '../../src/image/image.js';

export const usage = `Usage: npm run bench [-- --pixels WxH --frames A,B,.. --rules auto,select]
       npm run bench -- --scaling | --size | --steps | --device gpu[:N]
Makes a stack for the purpose, merges it by Lamella and by general calls of OpenCV in turn, and prints seconds,
ratio and peak memory; bench.html shows where the time goes. Build first: the merges are those of dist.
  --pixels WxH   size of the frames, px (default: 6000x4000)
  --frames LIST  lengths of the stacks (default: 4,12,30,100; with --scaling the first alone: 30)
  --rules LIST   rules to merge by (default: auto,select)
  --scaling      1, 2, 4, 8 and 16 threads, as far as there are cores: speed-up and serial share of each stage; a few minutes
                 with --frames 12
  --size         frames of 24, 61, 100 and 150 megapixels, the largest of 8 and of 16 bits
  --device NAME  on a graphics processor and on the processor in turn: seconds of each stage and of a further frame, and how
                 far the results differ (frames: 12,30; the shorter stack is the start of the longer)
  --steps        one picture through single steps, beside OpenCV's`;

export type BenchPart = 'peer' | 'scaling' | 'size' | 'steps' | 'device';

export interface BenchOptions {
  part: BenchPart;
  size: Size;
  /** Rising. */
  frames: number[];
  rules: string[];
  /** As `lamella merge --device` takes it. */
  device: string;
}

/** The options of the command line; undefined when they ask for help. Throws with what is wrong. */
export function readOptions(args?: string[]): BenchOptions | undefined {
  const { values } = parseArgs({
    ...(args && { args }),
    options: {
      pixels: { type: 'string', default: '6000x4000' },
      frames: { type: 'string' },
      rules: { type: 'string' },
      scaling: { type: 'boolean', default: false },
      size: { type: 'boolean', default: false },
      steps: { type: 'boolean', default: false },
      device: { type: 'string' },
      help: { type: 'boolean', default: false },
    },
  });
  if (values.help) return undefined;
  const parts = (['scaling', 'size', 'steps'] as const).filter((part) => values[part]);
  const asked = [...parts, ...(values.device === undefined ? [] : (['device'] as const))];
  if (asked.length > 1)
    throw new Error(`Expected one of --scaling, --size, --steps and --device but received ${asked.length}`);
  const part = asked[0] ?? 'peer';
  const size = /^(\d+)x(\d+)$/.exec(values.pixels);
  if (!size || Math.min(Number(size[1]), Number(size[2])) < 256) {
    throw new Error(
      `Expected width x height, each 256 px or more, for --pixels but received ${values.pixels}`,
    );
  }
  const standard = { peer: '4,12,30,100', scaling: '30', size: '4', steps: '4', device: '12,30' }[part];
  const frames = (values.frames ?? standard).split(',').map(Number);
  if (frames.some((count, i) => !Number.isInteger(count) || count < 2 || (i > 0 && count <= frames[i - 1]))) {
    throw new Error(`Expected rising numbers from 2 for --frames but received ${values.frames}`);
  }
  const usual = part === 'device' ? 'auto' : 'auto,select';
  const rules = (values.rules ?? usual).split(',').filter((rule) => rule !== '');
  return {
    part,
    size: { width: Number(size[1]), height: Number(size[2]) },
    frames,
    rules,
    device: values.device ?? 'cpu',
  };
}

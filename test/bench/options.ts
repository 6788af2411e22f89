import { parseArgs } from 'node:util';
import type { Size } from '../../src/image/image.js';

export const usage = `Usage: npm run bench -- [--size WxH] [--frames A,B] [--rules auto,select]
Times whole merges of a stack made for the purpose, and the steps of one picture, against decoding alone and
against OpenCV in the same run. Build first: the merges are those of dist.
  --size WxH     size of the frames, px (default: 6000x4000)
  --frames A,B   lengths of the two stacks, the shorter one first (default: 20,60)
  --rules LIST   rules to merge by (default: auto,select)`;

export interface BenchOptions {
  size: Size;
  /** The shorter one first. */
  frames: [number, number];
  rules: string[];
}

/** The options of the command line; undefined when they ask for help. Throws with what is wrong. */
export function readOptions(): BenchOptions | undefined {
  const { values } = parseArgs({
    options: {
      size: { type: 'string', default: '6000x4000' },
      frames: { type: 'string', default: '20,60' },
      rules: { type: 'string', default: 'auto,select' },
      help: { type: 'boolean', default: false },
    },
  });
  if (values.help) return undefined;
  const size = /^(\d+)x(\d+)$/.exec(values.size);
  if (!size || Math.min(Number(size[1]), Number(size[2])) < 256) {
    throw new Error(`Expected width x height, each 256 px or more, for --size but received ${values.size}`);
  }
  const frames = /^(\d+),(\d+)$/.exec(values.frames)?.slice(1).map(Number);
  if (!frames || frames[0] < 2 || frames[1] <= frames[0]) {
    throw new Error(`Expected two rising numbers from 2 for --frames but received ${values.frames}`);
  }
  const rules = values.rules.split(',').filter((rule) => rule !== '');
  return {
    size: { width: Number(size[1]), height: Number(size[2]) },
    frames: [frames[0], frames[1]],
    rules,
  };
}

import type { OptionTable } from '../options/option.js';
import { choice, text, toggle } from '../options/option-kinds.js';
import { type ScaleOptions, scaleOptionTable } from './scale-options.js';
import { comfortOption, framesOption } from './stereo-options.js';

/** What a loop shows: the relief rocking to and fro, or a travel through the stack. */
export const loopKinds = ['rocking', 'travel'] as const;

/** 'rocking': the relief seen from left to right and back; 'travel': the focus goes from near to far and back. */
export type LoopKind = (typeof loopKinds)[number];

/** What a moving picture is made with. */
export interface LoopOptions extends ScaleOptions {
  loop: LoopKind;
  /** A .webp animation, or a folder for numbered pictures. Default: the result's name with -LOOP.webp, beside it. */
  out?: string;
  /** Widest way of what is farthest against what is nearest, percent of the width. Default 3.3. */
  comfortPercent: number;
  framesFrom?: string;
  /** Replace an earlier animation. Default false. */
  overwrite: boolean;
}

export const loopOptionTable: OptionTable<LoopOptions> = {
  loop: {
    kind: choice(...loopKinds),
    group: 'To show',
    help: 'write a moving picture instead: rocking turns the relief from left to right and back, travel shows the frames from near to far and back',
    default: 'rocking',
    defaultText: 'none',
  },
  out: {
    kind: text(
      'a file name that ends in .webp, or a new folder',
      /(?:\.webp|[/\\]|^[^.]+|[/\\][^./\\]+)$/i,
      'FILE',
    ),
    help: 'a .webp animation, or a folder for numbered pictures',
  },
  comfortPercent: comfortOption,
  framesFrom: framesOption,
  ...scaleOptionTable,
  overwrite: { kind: toggle, help: 'replace an earlier one' },
};

import type { OptionSpec, OptionTable } from '../options/option.js';
import { folderPath, toggle } from '../options/option-kinds.js';

/** What a command prints. */
export interface PrintOptions {
  json: boolean;
  quiet: boolean;
}

const group = 'Output';

/** For commands that print events while they work. */
export const printOptions: OptionTable<PrintOptions> = {
  json: {
    kind: toggle,
    group,
    help: 'print one JSON event a line on stdout, for programs, and no text but errors',
  },
  quiet: { kind: toggle, group, help: 'print warnings and errors only' },
};

export const framesFrom: OptionSpec<string> = {
  kind: folderPath(),
  help: 'where the frames lie now, if they moved since the merge',
};

/** For commands that answer once. */
export const jsonAnswer: OptionSpec<boolean> = {
  kind: toggle,
  help: 'print one JSON object on stdout instead of text',
  default: false,
};

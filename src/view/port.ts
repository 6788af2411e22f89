import type { OptionKind } from '../options/option.js';
import { whole } from '../options/option-kinds.js';

/** A port of this machine that a program may choose. */
export const portNumber: OptionKind<number> = { ...whole(1, 65_535), valueName: 'PORT' };

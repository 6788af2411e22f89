import { extname } from 'node:path';
import type { OptionKind, OptionTable } from '../options/option.js';
import { choice, fileName, isWithin, toggle } from '../options/option-kinds.js';
import type { Ground } from './read-surface.js';
import { type ScaleOptions, scaleOptionTable } from './scale-options.js';

/** By the ending of its file. */
export type ReliefFormat = 'glb' | 'ply' | 'stl' | 'obj';

/** What a relief is made with; any may be absent. */
export interface ReliefOptions extends ScaleOptions {
  /** File to write, by its ending a .glb, .ply, .stl or .obj. Default: the result's name with -relief.glb, beside it. */
  out?: string;
  /** Most triangles. Default 500 000. */
  triangles: number;
  /** What becomes of ground without detail. Default 'leave-out'. */
  ground: Ground;
  /** Replace an earlier relief. Default false. */
  overwrite: boolean;
}

const thousands: Record<string, number> = { '': 1, k: 1e3, m: 1e6 };

/** A count that may be written 500k or 2M. */
const triangleCount: OptionKind<number> = {
  range: 'a whole number from 1000 to 20000000, such as 500k or 2M,',
  isValid: (value): value is number => Number.isInteger(value) && isWithin(value, 1000, 20_000_000),
  read(text) {
    const match = /^\s*(\d+(?:\.\d+)?)\s*([km]?)\s*$/i.exec(text);
    return match ? Math.round(Number(match[1]) * thousands[match[2].toLowerCase()]) : undefined;
  },
  valueName: 'N',
};

export const reliefOptionTable: OptionTable<ReliefOptions> = {
  out: {
    kind: fileName('FILE', '.glb', '.ply', '.stl', '.obj'),
    help: 'file to write: .glb with the picture as texture, .ply with colour and confidence, .stl closed with a base to print, .obj with colours',
    defaultText: 'the name of the result with -relief.glb, beside it',
  },
  triangles: {
    kind: triangleCount,
    help: 'triangles at most, such as 500k or 2M; they are spent where the surface bends, and the error left is reported',
    default: 500_000,
    defaultText: '500k',
  },
  ground: {
    kind: choice('leave-out', 'flat'),
    help: 'what becomes of ground that shows no detail: left out, or laid flat behind the subject',
    default: 'leave-out',
  },
  ...scaleOptionTable,
  overwrite: { kind: toggle, help: 'replace an earlier relief' },
};

export function formatOf(out: string): ReliefFormat {
  const ending = extname(out).toLowerCase().slice(1);
  return ending as ReliefFormat;
}

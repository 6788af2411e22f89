import { alignTable } from '../../align-table.js';

/** A constant of the model as src/model/constants states it. */
export interface StatedConstant {
  station: string;
  name: string;
  kind: 'Free' | 'Derived' | 'Effort' | 'Layout';
  /** 'f32' and 'i32' where kernels read it, 'int' where TypeScript alone does and it counts something. */
  type: '' | 'f32' | 'i32' | 'usize' | 'int';
  unit: string;
  decides: string;
}

export type ConstantValue = number | readonly number[];

/** The part of the build that reads constants: a script without types. */
const generator = (await import(
  new URL('../../../src/kernels/generate-constants.js', import.meta.url).href
)) as {
  readConstants(): StatedConstant[];
  readValues(compiled: string): Promise<Record<string, ConstantValue>>;
};

export const { readConstants, readValues } = generator;

/** How many constants each station states, as aligned text: free ones, derived ones, and bounds on effort. */
export function countText(constants: readonly StatedConstant[]): string {
  const stations = [...new Set(constants.map(({ station }) => station))];
  const kinds = ['Free', 'Derived', 'Effort', 'Layout'] as const;
  const countOf = (of: readonly StatedConstant[]) =>
    kinds.map((kind) => of.filter((constant) => constant.kind === kind).length);
  const lines = [
    ['', ...kinds.map((kind) => kind.toLowerCase()), 'read by kernels'],
    ...[...stations, 'all'].map((station) => {
      const own =
        station === 'all' ? constants : constants.filter((constant) => constant.station === station);
      const shared = own.filter(({ type }) => type !== '' && type !== 'int').length;
      return [station, ...countOf(own).map(String), String(shared)];
    }),
  ];
  return alignTable(lines);
}

import { composeMatrices, type Matrix3 } from '../../image/transform.js';
import { type ColourSpace, primaries, spaceNames, whitePoint } from './colour-space.js';

/** XYZ of the profile connection space's white, D50 (ICC.1:2022, 7.2.16). */
const d50 = [0.9642, 1, 0.8249] as const;
/** Cone responses of Bradford's adaptation (ICC.1:2022, annex E). */
const bradford: Matrix3 = [0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296];

/**
 * The ICC profile of a colour space, version 4, three components by matrix and curve (ICC.1:2022, 8.4.3 and 9.2). The
 * same bytes whenever it is made.
 */
export function iccProfile(space: ColourSpace): Buffer {
  const adaptation = adaptationToD50();
  const colorants = composeMatrices(adaptation, rgbToXyz(space));
  const column = (i: number) => [colorants[i], colorants[i + 3], colorants[i + 6]];
  const curve = parametricCurve();
  const tags: [string, Buffer][] = [
    ['desc', localisedText(spaceNames[space])],
    ['cprt', localisedText('No copyright, use freely')],
    ['wtpt', xyz(d50)],
    ['chad', Buffer.concat([signature('sf32'), ...adaptation.map(fixed)])],
    ['rXYZ', xyz(column(0))],
    ['gXYZ', xyz(column(1))],
    ['bXYZ', xyz(column(2))],
    ['rTRC', curve],
    ['gTRC', curve],
    ['bTRC', curve],
  ];
  return assemble(tags);
}

/** Linear RGB of a space to XYZ of D65: the columns are its primaries, scaled so that 1, 1, 1 is white. */
function rgbToXyz(space: ColourSpace): Matrix3 {
  const [r, g, b] = primaries[space].map(([x, y]) => [x / y, 1, (1 - x - y) / y]);
  const columns: Matrix3 = [r[0], g[0], b[0], r[1], g[1], b[1], r[2], g[2], b[2]];
  const scale = times(inverse(columns), whiteXyz());
  return columns.map((value, i) => value * scale[i % 3]) as unknown as Matrix3;
}

function whiteXyz(): number[] {
  const [x, y] = whitePoint;
  return [x / y, 1, (1 - x - y) / y];
}

function adaptationToD50(): Matrix3 {
  const from = times(bradford, whiteXyz());
  const to = times(bradford, d50);
  const gains: Matrix3 = [to[0] / from[0], 0, 0, 0, to[1] / from[1], 0, 0, 0, to[2] / from[2]];
  return composeMatrices(inverse(bradford), composeMatrices(gains, bradford));
}

/** By cofactors. */
function inverse([a, b, c, d, e, f, g, h, i]: Matrix3): Matrix3 {
  const det = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
  const rows: Matrix3 = [
    ...([e * i - f * h, c * h - b * i, b * f - c * e] as const),
    ...([f * g - d * i, a * i - c * g, c * d - a * f] as const),
    ...([d * h - e * g, b * g - a * h, a * e - b * d] as const),
  ];
  return rows.map((value) => value / det) as unknown as Matrix3;
}

function times(matrix: Matrix3, [x, y, z]: readonly number[]): number[] {
  return [0, 3, 6].map((row) => matrix[row] * x + matrix[row + 1] * y + matrix[row + 2] * z);
}

/** The curve of sRGB as function type 3: (a x + b)^g from d on, c x below (ICC.1:2022, 10.18). */
function parametricCurve(): Buffer {
  const head = Buffer.alloc(4);
  head.writeUInt16BE(3);
  const numbers = [2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045];
  return Buffer.concat([signature('para'), head, ...numbers.map(fixed)]);
}

function xyz(values: readonly number[]): Buffer {
  return Buffer.concat([signature('XYZ '), ...values.map(fixed)]);
}

/** Multi-localised text of one language (ICC.1:2022, 10.15). */
function localisedText(text: string): Buffer {
  const words = Buffer.from(text, 'utf16le').swap16();
  const head = Buffer.alloc(20);
  [1, 12, 0, words.length, 28].forEach((value, i) => void head.writeUInt32BE(value, 4 * i));
  head.write('enUS', 8, 'latin1');
  return Buffer.concat([signature('mluc'), head, words]);
}

/** The four letters of a type and the zeros behind them. */
function signature(letters: string): Buffer {
  return Buffer.concat([Buffer.from(letters, 'latin1'), Buffer.alloc(4)]);
}

/** A signed number with 16 bits behind the point. */
function fixed(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeInt32BE(Math.round(value * 65_536));
  return bytes;
}

function assemble(tags: readonly [string, Buffer][]): Buffer {
  const table = Buffer.alloc(4 + 12 * tags.length);
  table.writeUInt32BE(tags.length);
  const placed = new Map<Buffer, number>();
  const blocks: Buffer[] = [];
  let end = 128 + table.length;
  tags.forEach(([name, data], i) => {
    if (!placed.has(data)) {
      placed.set(data, end);
      const padded = Buffer.concat([data, Buffer.alloc(-data.length & 3)]);
      blocks.push(padded);
      end += padded.length;
    }
    const entry = 4 + 12 * i;
    table.write(name, entry, 'latin1');
    table.writeUInt32BE(placed.get(data)!, entry + 4);
    table.writeUInt32BE(data.length, entry + 8);
  });
  return Buffer.concat([header(end), table, ...blocks]);
}

function header(size: number): Buffer {
  const bytes = Buffer.alloc(128);
  bytes.writeUInt32BE(size, 0);
  bytes.writeUInt32BE(0x04400000, 8);
  bytes.write('mntrRGB XYZ ', 12, 'latin1');
  // A date is required; one that never changes keeps results the same, byte for byte.
  [2020, 1, 1].forEach((value, i) => void bytes.writeUInt16BE(value, 24 + 2 * i));
  bytes.write('acsp', 36, 'latin1');
  d50.forEach((value, i) => void fixed(value).copy(bytes, 68 + 4 * i));
  return bytes;
}

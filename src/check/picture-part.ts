/** Number of points in each ninth of the picture, row by row, and the sums of their x and y. */
export interface Ninths {
  counts: number[];
  x: number[];
  y: number[];
}

const columns = ['left', 'centre', 'right'];
const rows = ['upper', 'middle', 'lower'];
/** A second ninth is named when it contains this share of the count of the first. */
const secondPart = 0.6;

export function emptyNinths(): Ninths {
  const zeros = () => new Array<number>(columns.length * rows.length).fill(0);
  return { counts: zeros(), x: zeros(), y: zeros() };
}

/** Counts a point, given as fractions of width and height, 0 to 1. */
export function addPoint(ninths: Ninths, x: number, y: number): void {
  const ninth = Math.min(2, Math.floor(3 * y)) * 3 + Math.min(2, Math.floor(3 * x));
  ninths.counts[ninth]++;
  ninths.x[ninth] += x;
  ninths.y[ninth] += y;
}

export function countOf({ counts }: Ninths): number {
  return counts.reduce((sum, count) => sum + count, 0);
}

/**
 * The part with most points, in words (with the second, where it contains nearly as many), and the mean of its points.
 */
export function mainPart({ counts, x, y }: Ninths): {
  part: string;
  centre: { x: number; y: number } | undefined;
} {
  const order = counts.map((_, ninth) => ninth).sort((p, q) => counts[q] - counts[p] || p - q);
  const [first, second] = order;
  if (counts[first] === 0) return { part: 'nothing', centre: undefined };
  const also = counts[second] > 0 && counts[second] >= secondPart * counts[first];
  return {
    part: also ? `${nameOf(first)} and ${nameOf(second)}` : nameOf(first),
    centre: { x: x[first] / counts[first], y: y[first] / counts[first] },
  };
}

function nameOf(ninth: number): string {
  const column = columns[ninth % 3];
  const row = rows[Math.floor(ninth / 3)];
  return row === 'middle' ? column : `${row} ${column}`;
}

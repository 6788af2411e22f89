import type { MeasureKind, MeasureRequest, Quantity, StoredMeasure } from '../measures-file.js';
import { significantNumber } from './numbers.js';

const kindWords: Readonly<Record<MeasureKind, string>> = {
  distance: 'Distance',
  height: 'Height difference',
  angle: 'Angle',
  profile: 'Profile',
  area: 'Area',
  volume: 'Volume',
  sphere: 'Sphere',
  roughness: 'Roughness',
  'step-height': 'Step height',
};

export function kindText({ kind }: Pick<MeasureRequest, 'kind'>): string {
  return kindWords[kind];
}

/** Where a measure was taken: "10,20 to 30,40", or its region. */
export function placeText({ points, region, plane }: MeasureRequest): string {
  const against = plane ? ` against the plane of ${plane.map((point) => point.join(',')).join(' ')}` : '';
  if (points) return points.map((point) => point.join(',')).join(' to ');
  if (region?.kind === 'rectangle') {
    return `${region.width} x ${region.height} px at ${region.x},${region.y}${against}`;
  }
  return `outline of ${region?.points.length ?? 0} corners from ${region?.points[0]?.join(',') ?? ''}${against}`;
}

/** "0.480 ± 0.012 mm", or why it cannot be known. */
export function quantityText(quantity: Quantity): string {
  const { value, uncertainty, unit, unknownBecause } = quantity;
  if (value === null) return `cannot be known: ${unknownBecause ?? 'no reason is recorded'}`;
  const digits = digitsOf(value, uncertainty);
  const amount =
    uncertainty === null || uncertainty === 0
      ? significantNumber(value, 6)
      : `${unsignedZero(value.toFixed(digits))} ± ${uncertainty.toFixed(digits)}`;
  const words: Partial<Record<string, string>> = { step: Number(amount) === 1 ? 'step' : 'steps' };
  const name = words[unit] ?? unit;
  return unit === '°' ? `${amount}${uncertainty ? ' °' : '°'}` : `${amount} ${name}`;
}

/** What rounds to nothing has no sign. */
function unsignedZero(text: string): string {
  return Number(text) === 0 ? text.replace('-', '') : text;
}

/** Decimals with which an uncertainty has two digits that count, as is usual (JCGM 100:2008, 7.2.6). */
function digitsOf(value: number, uncertainty: number | null): number {
  const size = uncertainty || Math.abs(value) / 1e4 || 1;
  return Math.max(0, Math.min(12, 1 - Math.floor(Math.log10(size))));
}

/** Whether a measure was taken of another depth than the result has now. */
export function isOutdated({ state }: StoredMeasure, now: string): boolean {
  return state !== now;
}

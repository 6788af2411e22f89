import { showValue } from '../option-error.js';
import type { MergeOptions } from './merge-options.js';
import type { OptionKind } from './option.js';
import { isWithin } from './option-kinds.js';
import { readNumber } from './read-number.js';
import { readQuantity } from './read-quantity.js';

/** Highest frame number an option may name; stacks are far shorter. */
const maxFrameNumber = 100_000;

/** Farthest rail position from zero, mm. */
const maxPositionMm = 10_000;

/** The frame whose framing a result keeps, by its number or its place in the stack. */
export const anchorFrame: OptionKind<MergeOptions['anchor']> = {
  range: `first, middle, last or a frame number from 1 to ${maxFrameNumber}`,
  isValid: (value): value is MergeOptions['anchor'] =>
    value === 'first' || value === 'middle' || value === 'last' || isFrameNumber(value),
  read: readNumber,
  valueName: 'first|middle|last|N',
};

/** First and last frame of a part of a stack. */
export const frameRange: OptionKind<[number, number]> = {
  range: 'two frame numbers from 1, the lower first, such as 5-80,',
  isValid: (value): value is [number, number] =>
    Array.isArray(value) && value.length === 2 && value.every(isFrameNumber) && value[0] < value[1],
  read: (text) => {
    const [, first, last] = /^(\d+)-(\d+)$/.exec(text) ?? [];
    return first === undefined ? undefined : [Number(first), Number(last)];
  },
  show: (value) => showValue(Array.isArray(value) ? value.join('-') : value),
  valueName: 'A-B',
};

export const frameList: OptionKind<number[]> = {
  range: 'frame numbers from 1 with commas between, such as 12,31 or 1-4,31,',
  isValid: (value): value is number[] => Array.isArray(value) && value.every(isFrameNumber),
  read: readFrameList,
  show: (value) => showValue(Array.isArray(value) ? value.join(',') : value),
  valueName: 'N,N|A-B',
};

/** Rail positions, one a frame; a command line gives the file that holds them. */
export const railPositions: OptionKind<number[]> = {
  ...positionsWithin(maxPositionMm, 'positions in mm'),
  readValue: readPositions,
};

/** Positions in a unit of unknown length. */
export const relativePositions = positionsWithin(1e9, 'positions');

function positionsWithin(max: number, noun: string): OptionKind<number[]> {
  return {
    range: `two or more ${noun} from ${-max} to ${max}, all rising or all falling,`,
    isValid: (value): value is number[] =>
      Array.isArray(value) && value.length >= 2 && faultyPosition(value, max) === -1,
    read: (path) => path,
    show: (value) => showFaultyPosition(value, max),
    valueName: 'FILE.csv',
  };
}

/** Positions of which some are texts, such as "5 mm". */
function readPositions(value: unknown): unknown {
  if (!Array.isArray(value)) return undefined;
  return value.map((position: unknown) =>
    typeof position === 'string' ? (readQuantity(position, 'mm') ?? position) : position,
  );
}

/** "12,31" or "1-78,90"; undefined when it is neither. */
function readFrameList(text: string): number[] | undefined {
  const numbers: number[] = [];
  for (const part of text.split(/ *, */)) {
    const [, first, last = first] = /^(\d+)(?:-(\d+))?$/.exec(part) ?? [];
    if (first === undefined || Number(last) < Number(first) || Number(last) > maxFrameNumber)
      return undefined;
    for (let number = Number(first); number <= Number(last); number++) numbers.push(number);
  }
  return numbers;
}

/**
 * Index of the first position that is no number in range or does not go on in the direction of the
 * first two; -1 when all do. A rail moves one way: a position that turns back is a mistyped line far
 * more often than a real one.
 */
function faultyPosition(positions: unknown[], max: number): number {
  const falling = Number(positions[1]) < Number(positions[0]);
  return positions.findIndex((position, i) => {
    if (!isWithin(position, -max, max)) return true;
    if (i === 0) return false;
    const travel = position - Number(positions[i - 1]);
    return falling ? travel >= 0 : !(travel > 0);
  });
}

/** Of positions the faulty one and its frame, not the whole list. */
function showFaultyPosition(value: unknown, max: number): string {
  if (!Array.isArray(value) || value.length < 2) return showValue(value);
  const i = faultyPosition(value, max);
  const before = i > 0 ? ` after ${showValue(value[i - 1])}` : '';
  return `${showValue(value[i])}${before} (frame ${i + 1})`;
}

function isFrameNumber(value: unknown): value is number {
  return Number.isInteger(value) && isWithin(value, 1, maxFrameNumber);
}

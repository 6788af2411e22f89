import type { Plan } from './plan.js';

/** The frames of a plan as a table to tick off: columns that are not empty, cells as text. */
export interface SheetTable {
  /** Machine-readable names of the columns. */
  keys: string[];
  /** Headings for people. */
  headings: string[];
  rows: string[][];
}

/** Digits behind the point: a tenth of a micrometre, a millimetre in a landscape. */
const positionDigits = 4;
const distanceDigits = 3;

export function sheetTable(plan: Plan): SheetTable {
  if (plan.kind === 'landscape') {
    return {
      keys: ['frame', 'focus_m', 'sharp_from_m', 'sharp_to_m'],
      headings: ['Frame', 'Focus at, m', 'Sharp from, m', 'Sharp to, m'],
      rows: plan.focus.map((frame) => [
        String(frame.frame),
        frame.focusM.toFixed(distanceDigits),
        frame.nearM.toFixed(distanceDigits),
        frame.farM === null ? 'infinity' : frame.farM.toFixed(distanceDigits),
      ]),
    };
  }
  const hasKnob = plan.knobPerFrame !== null;
  const hasMarks = hasKnob && plan.knobPerFrame?.marks !== null;
  return {
    keys: ['frame', 'position_mm', ...(hasKnob ? ['turns', 'degrees'] : []), ...(hasMarks ? ['mark'] : [])],
    headings: [
      'Frame',
      'Position, mm',
      ...(hasKnob ? ['Whole turns', 'and degrees'] : []),
      ...(hasMarks ? ['Knob at mark'] : []),
    ],
    rows: plan.positions.map(({ frame, positionMm, turns, degrees, mark }) => [
      String(frame),
      positionMm.toFixed(positionDigits),
      ...(turns === null || degrees === null ? [] : [String(turns), degrees.toFixed(1)]),
      ...(mark === null ? [] : [mark.toFixed(1)]),
    ]),
  };
}

import { shortNumber } from '../result/report/numbers.js';

/** Scale of the rail, as far as it is known. */
export interface RailScale {
  stepMm?: number | undefined;
  /** Travel per turn of the knob, and marks around it. */
  travelPerTurnMm?: number | undefined;
  marksPerTurn?: number | undefined;
}

/** A length with three significant digits. */
export function lengthText(mm: number): string {
  return `${Number(mm.toPrecision(3))} mm`;
}

/** Travel of the rail in mm, and in turns of its knob where these are known: "0.15 mm (0.3 turns)", "0.15 mm (15 marks)". */
export function travelText(mm: number, { travelPerTurnMm, marksPerTurn }: RailScale): string {
  const knob = travelPerTurnMm === undefined ? '' : ` (${knobText(mm / travelPerTurnMm, marksPerTurn)})`;
  return `${lengthText(mm)}${knob}`;
}

function knobText(turns: number, marksPerTurn: number | undefined): string {
  if (marksPerTurn === undefined) return counted(shortNumber(turns, 2), 'turn');
  const marks = Math.round(turns * marksPerTurn * 10) / 10;
  const whole = Math.floor(marks / marksPerTurn);
  const rest = shortNumber(marks - whole * marksPerTurn, 1);
  const parts = [
    ...(whole > 0 ? [counted(String(whole), 'turn')] : []),
    ...(rest !== '0' || whole === 0 ? [counted(rest, 'mark')] : []),
  ];
  return parts.join(' and ');
}

function counted(count: string, noun: string): string {
  return `${count} ${noun}${count === '1' ? '' : 's'}`;
}

/** A travel in usual steps where millimetres are not known: "2 usual steps", and else as `travelText`. */
export function stepsText(steps: number, scale: RailScale): string {
  if (scale.stepMm !== undefined) return travelText(steps * scale.stepMm, scale);
  return counted(shortNumber(steps, 1), 'usual step');
}

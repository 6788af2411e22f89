import { significant } from '../../../plan/number-text.js';
import type { Slide } from './fields.js';

/** Positions of a slider of ratios: each is some percent of the value. */
const ratioSteps = 240;

/** The last position of a slider, which runs from 0 by whole numbers. */
export function lastPosition(slide: Slide): number {
  if (slide.kind === 'ratio') return ratioSteps;
  if (slide.kind === 'list') return slide.values.length - 1;
  return Math.round((slide.max - slide.min) / slide.step);
}

/** The position of a value; the nearest end for one beyond them. */
export function positionOf(slide: Slide, value: number): number {
  if (slide.kind === 'list') {
    const away = slide.values.map((listed) => Math.abs(Math.log(listed / value)));
    return away.indexOf(Math.min(...away));
  }
  const share =
    slide.kind === 'ratio'
      ? Math.log(value / slide.min) / Math.log(slide.max / slide.min)
      : (value - slide.min) / (slide.max - slide.min);
  return Math.round(Math.min(1, Math.max(0, share)) * lastPosition(slide));
}

/** The value at a position, as the text of its field. */
export function textAt(slide: Slide, position: number): string {
  if (slide.kind === 'list') return String(slide.values[position]);
  if (slide.kind === 'even') return significant(slide.min + position * slide.step, 6);
  return significant(slide.min * (slide.max / slide.min) ** (position / ratioSteps), 3);
}

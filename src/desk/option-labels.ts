import { optionFlag } from '../options/option-flag.js';

/** How the desk calls the options that it shows; both sides use them. */
export const optionLabels = {
  stepMm: 'Step from frame to frame',
  fieldWidthMm: 'Width of the field',
  rule: 'Sources',
  anchor: 'Framing of',
  crop: 'Crop',
  format: 'File type',
  direction: 'Order of focus',
  skip: 'Leave out frames',
  order: 'Order of frames',
  overwrite: 'Replace it',
  out: 'Put the result into',
  until: 'Until',
} as const;

/** An option in a text on the desk. */
export function deskName(option: string): string {
  const label = (optionLabels as Record<string, string>)[option];
  return `“${label ?? wordsOf(optionFlag(option))}”`;
}

/** A flag without what makes it one: no screen has the option. */
function wordsOf(flag: string): string {
  return flag.slice(2).replaceAll('-', ' ');
}

/** A text of a process that calls options by their flags, as the desk calls them. */
export function inDeskWords(text: string): string {
  let words = text;
  for (const option of Object.keys(optionLabels)) {
    words = words.replaceAll(new RegExp(`${optionFlag(option)}(?![\\w-])`, 'g'), deskName(option));
  }
  return words.replaceAll(/(?<![\w-])--[a-z]+(?:-[a-z]+)*(?![\w-])/g, (flag) => `“${wordsOf(flag)}”`);
}

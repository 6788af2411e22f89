import { markedFNumbers } from '../../../optics/f-stops.js';
import { sensorFormats } from '../../../optics/sensor-formats.js';
import type { PlanOptions } from '../../../plan/plan-options.js';

/** How the lens, or the scene, is described: each way asks for other values. */
export type PlanMode = 'magnification' | 'tubes' | 'ruler' | 'objective' | 'scene';

export const planModes: readonly { value: PlanMode; label: string }[] = [
  { value: 'magnification', label: 'Magnification' },
  { value: 'tubes', label: 'Lens on tubes' },
  { value: 'ruler', label: 'Ruler' },
  { value: 'objective', label: 'Objective' },
  { value: 'scene', label: 'Landscape' },
];

export type PlanFieldName = keyof PlanOptions;

/** Values that a slider runs over, in equal ratios or equal steps, or those of a list. */
export type Slide =
  | { kind: 'ratio'; min: number; max: number }
  | { kind: 'even'; min: number; max: number; step: number }
  | { kind: 'list'; values: readonly number[] };

/** One value that the screen asks for. */
export interface PlanField {
  name: PlanFieldName;
  label: string;
  unit?: string;
  /** What stands in an empty field. */
  empty?: string;
  /** A sentence below the field. */
  hint?: string;
  slide?: Slide;
  /** Values to choose from, instead of a text. */
  choices?: readonly { value: string; label: string }[];
}

export interface PlanGroup {
  title: string;
  fields: readonly PlanField[];
  /** Whether it is folded away at first. */
  isFolded?: boolean;
}

/** 1/3 stops that macro lenses have. */
const lensStops = markedFNumbers.filter((fNumber) => fNumber >= 1.4 && fNumber <= 32);

const fNumber: PlanField = {
  name: 'fNumber',
  label: 'Aperture f/',
  slide: { kind: 'list', values: lensStops },
};
const magnification: PlanField = {
  name: 'magnification',
  label: 'Magnification',
  unit: '×',
  slide: { kind: 'ratio', min: 0.1, max: 20 },
};
const focalLength: PlanField = {
  name: 'focalLengthMm',
  label: 'Focal length',
  unit: 'mm',
  slide: { kind: 'ratio', min: 10, max: 300 },
};

const lensFields: Record<PlanMode, readonly PlanField[]> = {
  magnification: [magnification, fNumber],
  tubes: [
    focalLength,
    { name: 'extensionMm', label: 'Tubes', unit: 'mm', slide: { kind: 'even', min: 0, max: 250, step: 1 } },
    {
      name: 'ownMagnification',
      label: 'Lens alone',
      hint: 'As it is focused without tubes: 1, 1:2, or infinity.',
    },
    fNumber,
  ],
  ruler: [
    {
      name: 'fieldWidthMm',
      label: 'Ruler seen across',
      unit: 'mm',
      hint: 'Photograph a ruler with everything mounted: the surest way.',
      slide: { kind: 'ratio', min: 1, max: 200 },
    },
    fNumber,
  ],
  objective: [
    { ...magnification, slide: { kind: 'ratio', min: 1, max: 50 } },
    {
      name: 'numericalAperture',
      label: 'NA',
      hint: 'As engraved on the objective, such as 0.25.',
      slide: { kind: 'ratio', min: 0.02, max: 0.9 },
    },
  ],
  scene: [
    { ...focalLength, slide: { kind: 'ratio', min: 10, max: 300 } },
    fNumber,
    { name: 'nearM', label: 'Nearest', unit: 'm', slide: { kind: 'ratio', min: 0.2, max: 20 } },
    { name: 'farM', label: 'Farthest', unit: 'm', hint: 'A distance, or infinity.' },
    { name: 'closestFocusM', label: 'Closest focus', unit: 'm', empty: 'any' },
  ],
};

const camera: PlanGroup = {
  title: 'Camera',
  fields: [
    {
      name: 'sensor',
      label: 'Sensor',
      unit: 'mm',
      choices: sensorFormats.map(({ name, widthMm, heightMm }) => ({
        value: name,
        label: `${formatLabel(name)}, ${widthMm} × ${heightMm}`,
      })),
    },
    {
      name: 'pixels',
      label: 'Pixels',
      unit: 'MP',
      hint: 'Megapixels, or pixels across and down: 6000x4000.',
    },
  ],
};

const subject: PlanGroup = {
  title: 'Subject',
  fields: [
    { name: 'depthMm', label: 'Depth', unit: 'mm', slide: { kind: 'ratio', min: 0.1, max: 100 } },
    {
      name: 'overlapPercent',
      label: 'Overlap',
      unit: '%',
      slide: { kind: 'even', min: 0, max: 80, step: 1 },
    },
    { name: 'stepMm', label: 'Own step', unit: 'mm', empty: 'by the overlap' },
  ],
};

const rail: PlanGroup = {
  title: 'Rail',
  fields: [
    { name: 'travelPerTurnMm', label: 'Travel per turn', unit: 'mm', empty: 'not known' },
    { name: 'marksPerTurn', label: 'Marks per turn', empty: 'not known' },
  ],
};

const time: PlanGroup = {
  title: 'Time',
  fields: [
    { name: 'settleS', label: 'Turn and settle', unit: 's', empty: 'not known' },
    { name: 'exposureS', label: 'Exposure', unit: 's', empty: 'not known' },
  ],
};

const circle: PlanField = {
  name: 'circle',
  label: 'Sharp is a blur of',
  choices: [
    { value: 'pixel', label: 'two pixels' },
    { value: 'format', label: 'what prints of this format bear' },
  ],
};
const wavelength: PlanField = { name: 'wavelengthNm', label: 'Light', unit: 'nm' };

const further: PlanGroup = {
  title: 'More',
  isFolded: true,
  fields: [
    {
      name: 'fNumberIs',
      label: 'The f-number is',
      choices: [
        { value: 'marked', label: 'that of the scale, for infinity' },
        { value: 'effective', label: 'what the camera shows close up' },
      ],
    },
    { name: 'widestFNumber', label: 'Wide open f/', empty: 'not known' },
    { name: 'pupilRatio', label: 'Exit over entrance pupil' },
    circle,
    wavelength,
  ],
};

/** What a mode asks for, in groups. */
export function planGroups(mode: PlanMode): PlanGroup[] {
  const lens: PlanGroup = { title: mode === 'scene' ? 'Lens and scene' : 'Lens', fields: lensFields[mode] };
  const overlap = subject.fields.filter(({ name }) => name === 'overlapPercent');
  if (mode === 'scene') {
    const more: PlanGroup = { ...further, fields: [...overlap, circle, wavelength] };
    return [lens, camera, time, more];
  }
  const more = mode === 'objective' ? { ...further, fields: [circle, wavelength] } : further;
  return [lens, subject, camera, rail, time, more];
}

/** Values to begin with: a lens of twice life size before a subject as deep as a fly's head. */
export const firstValues: Partial<Record<PlanFieldName, string>> = {
  ...{ magnification: '2', focalLengthMm: '100', extensionMm: '68', ownMagnification: 'infinity' },
  ...{ fieldWidthMm: '18', numericalAperture: '0.25', fNumber: '5.6', fNumberIs: 'marked', pupilRatio: '1' },
  ...{ sensor: 'full-frame', pixels: '24', circle: 'pixel', wavelengthNm: '550' },
  ...{ depthMm: '3', overlapPercent: '30', settleS: '3', exposureS: '1/4' },
  ...{ nearM: '0.8', farM: 'infinity' },
};

/** Values that a mode begins with instead: far from the bench other lenses are used. */
const firstOfScene: Partial<Record<PlanFieldName, string>> = { focalLengthMm: '24', fNumber: '8' };

/** Values that change with the mode, as long as they are those that a mode begins with. */
export function valuesOnMode(
  values: Partial<Record<PlanFieldName, string>>,
  from: PlanMode,
  to: PlanMode,
): Partial<Record<PlanFieldName, string>> {
  const firstOf = (mode: PlanMode): typeof firstValues =>
    mode === 'scene' ? { ...firstValues, ...firstOfScene } : firstValues;
  const names = Object.keys(firstOfScene) as PlanFieldName[];
  const untouched = names.filter((name) => values[name] === firstOf(from)[name]);
  return Object.fromEntries(untouched.map((name) => [name, firstOf(to)[name]]));
}

/** How the screen calls a value, for messages. */
export function labelOf(name: string): string {
  const all = planModes.flatMap(({ value }) => planGroups(value).flatMap(({ fields }) => fields));
  const label = all.find((field) => field.name === name)?.label;
  return label === undefined ? name : `“${label.replace(/ f\/$/, '')}”`;
}

function formatLabel(name: string): string {
  const words = name.replaceAll('-', ' ').replace('aps c', 'APS-C');
  return words.charAt(0).toUpperCase() + words.slice(1);
}

import type { PlanEffort } from './effort.js';
import type { LandscapePlan } from './landscape-plan.js';
import {
  bytesText,
  distanceText,
  fNumberText,
  framesText,
  lengthText,
  significant,
  timeText,
} from './number-text.js';
import type { Plan } from './plan.js';
import type { StackPlan } from './stack-plan.js';

/** A title and its lines: a label with its value, or a line as it is. */
interface Section {
  title: string;
  lines: readonly (readonly [string, string] | string)[];
}

/** The plan as a table for people, with a line feed at its end. */
export function planText(plan: Plan): string {
  const sections = plan.kind === 'stack' ? stackSections(plan) : landscapeSections(plan);
  return `${sections.map(sectionText).join('\n\n')}\n`;
}

const labelWidth = 28;

function sectionText({ title, lines }: Section): string {
  const body = lines.map((line) =>
    typeof line === 'string' ? `  ${line}` : `  ${line[0].padEnd(labelWidth)}${line[1]}`,
  );
  return [title, ...body].join('\n');
}

function stackSections(plan: StackPlan): Section[] {
  return [
    { title: 'Lens and field', lines: lensLines(plan) },
    { title: 'Depth of field of one frame', lines: depthLines(plan) },
    ...apertureSections(plan),
    { title: 'Stack', lines: stackLines(plan) },
  ];
}

function lensLines(plan: StackPlan): Section['lines'] {
  const { lens, fieldMm, distancesMm } = plan;
  const marked = lens.markedFNumber === null ? '' : ` (marked ${fNumberText(lens.markedFNumber)})`;
  return [
    ['Magnification', `${significant(lens.magnification)} x (${lens.magnificationFrom})`],
    ['Field', `${significant(fieldMm.width)} x ${significant(fieldMm.height)} mm`],
    [
      'Working distance',
      distancesMm === null
        ? 'not defined without the focal length; see what is printed on the objective'
        : `${significant(distancesMm.working)} mm from the front principal plane of the lens (thin lens)`,
    ],
    ...(distancesMm === null
      ? []
      : ([['Subject to sensor', `${significant(distancesMm.total)} mm (thin lens)`]] as const)),
    [
      'Effective f-number',
      `${fNumberText(lens.effectiveFNumber)}${marked}, NA ${significant(lens.numericalAperture)}`,
    ],
    [
      'Light lost',
      lens.lightLostStops === null
        ? 'not defined for an objective'
        : `${significant(lens.lightLostStops, 2)} stops against the marked f-number`,
    ],
  ];
}

function depthLines(plan: StackPlan): Section['lines'] {
  const { depth, circle, sharpness } = plan;
  return [
    ['Circle of confusion', `${lengthText(circle.mm)} (${circle.from})`],
    ['Geometric', `${lengthText(depth.geometric.totalMm)} = ${depth.geometric.formula}`],
    ['Wave-optical', `${lengthText(depth.wave.totalMm)} = ${depth.wave.formula}`],
    ['Combined', `${lengthText(depth.combined.totalMm)} = ${depth.combined.formula}`],
    ...sharpnessLines(sharpness),
  ];
}

function sharpnessLines({
  airyUm,
  airyPx,
  limit,
  contrastAtPixel,
}: StackPlan['sharpness']): Section['lines'] {
  const pixels = airyPx === null ? '' : ` = ${significant(airyPx)} px`;
  const airy = ['Airy disc', `${significant(airyUm)} µm${pixels} = 2.44 λ Neff`] as const;
  if (limit === null || contrastAtPixel === null) return [airy];
  const words =
    limit === 'diffraction'
      ? 'diffraction limits: the Airy disc is larger than two pixels'
      : 'the pixel limits: the Airy disc is no larger than two pixels';
  return [
    airy,
    ['Limit', `${words} (${Math.round(100 * contrastAtPixel)} % contrast left at the finest detail)`],
  ];
}

function apertureSections({ bestAperture, lens, circle }: StackPlan): Section[] {
  if (bestAperture === null) return [];
  const { choices } = bestAperture;
  const rows = choices.map((choice) => [
    choice.name,
    choice.markedFNumber === null ? '-' : fNumberText(choice.markedFNumber),
    fNumberText(choice.effectiveFNumber),
    `${significant(choice.airyPx, 2)} px`,
    `${significant(choice.depthOfFieldMm)} mm`,
    `${significant(choice.stepMm)} mm`,
    String(choice.frames),
    choice.framesMore > 0 ? `+${choice.framesMore}` : String(choice.framesMore),
  ]);
  const head = ['', 'marked', 'effective', 'Airy', 'depth of field', 'step', 'frames', 'more'];
  return [
    {
      title: 'Aperture that gives most resolution for this pixel pitch',
      lines: [
        `Narrowest whose Airy disc is no larger than two pixels: effective ${fNumberText(bestAperture.effectiveFNumber)}` +
          (bestAperture.markedFNumber === null ? '' : `, marked ${fNumberText(bestAperture.markedFNumber)}`),
        ...columns([head, ...rows]),
        ...(bestAperture.possible ? [] : [outOfReach(bestAperture.widestFNumber)]),
        ...(lens.markedFNumber === null
          ? ['An objective has one aperture: this is how far it is from the best.']
          : []),
        `Reckoned for a perfect lens and a circle of ${lengthText(circle.mm)}; many lenses are sharper a stop narrower than wide open.`,
      ],
    },
  ];
}

function outOfReach(widestFNumber: number | null): string {
  return widestFNumber === null
    ? 'No lens opens so wide: at this magnification diffraction always limits, and the widest aperture is best.'
    : `The lens opens to ${fNumberText(widestFNumber)} and no further: diffraction limits there already, and wide open is best.`;
}

function stackLines(plan: StackPlan): Section['lines'] {
  const { step, knobPerFrame } = plan;
  const overlap =
    step.gapMm > 0 ? `GAPS of ${lengthText(step.gapMm)}` : `${significant(step.overlapPercent)} % overlap`;
  const blur =
    step.halfway.blurPx === null
      ? `${significant(step.halfway.blurUm)} µm`
      : `${significant(step.halfway.blurPx, 2)} px`;
  const marks = knobPerFrame?.marks == null ? '' : ` = ${significant(knobPerFrame.marks)} marks`;
  return [
    ['Step', `${lengthText(step.mm)} (${overlap}${step.from === 'as asked' ? ', as asked' : ''})`],
    ...(step.from === 'as asked'
      ? ([
          ['Step without gaps', `${lengthText(step.recommendedMm)}, at most ${lengthText(step.longestMm)}`],
        ] as const)
      : []),
    [
      'Halfway between frames',
      `blur of ${blur}, ${significant(step.halfway.defocusWaves, 2)} waves of defocus`,
    ],
    ['Frames', String(plan.frames)],
    ['Travel', `${lengthText(plan.travelMm)} for ${lengthText(plan.options.depthMm as number)} of subject`],
    [
      'Knob per frame',
      knobPerFrame === null
        ? 'unknown without the travel of a turn'
        : `${significant(knobPerFrame.degrees)}°${marks}`,
    ],
    ...effortLines(plan.effort),
  ];
}

function effortLines({ timeS, tiff16Bytes, rawBytes }: PlanEffort): Section['lines'] {
  return [
    ['Time', timeS === null ? 'unknown without settle time and exposure' : timeText(timeS)],
    [
      'Disk space',
      tiff16Bytes === null || rawBytes === null
        ? 'unknown without the pixels'
        : `${bytesText(rawBytes)} as raw files (14 bits), ${bytesText(tiff16Bytes)} as 16-bit TIFF`,
    ],
  ];
}

function landscapeSections(plan: LandscapePlan): Section[] {
  const { options, circle } = plan;
  const rows = plan.focus.map((frame) => [
    String(frame.frame),
    distanceText(frame.focusM),
    distanceText(frame.nearM),
    distanceText(frame.farM),
  ]);
  return [
    {
      title: 'Lens',
      lines: [
        [
          'Focal length',
          `${significant(options.focalLengthMm as number)} mm at ${fNumberText(options.fNumber as number)}`,
        ],
        ['Circle of confusion', `${lengthText(circle.mm)} (${circle.from})`],
        ['Hyperfocal distance', `${distanceText(plan.hyperfocalM)} = f² / (N c) + f`],
        ...sharpnessLines(plan.sharpness),
      ],
    },
    {
      title: `${framesText(plan.frames)} from ${distanceText(plan.nearM)} to ${distanceText(plan.farM)}`,
      lines: columns([['frame', 'focus at', 'sharp from', 'to'], ...rows]),
    },
    { title: 'Effort', lines: effortLines(plan.effort) },
  ];
}

/** Rows of cells under each other, right-aligned but for the first column. */
function columns(rows: readonly (readonly string[])[]): string[] {
  const widths = rows[0].map((_, c) => Math.max(...rows.map((row) => row[c].length)));
  return rows.map((row) =>
    row.map((cell, c) => (c === 0 ? cell.padEnd(widths[c]) : cell.padStart(widths[c]))).join('  '),
  );
}

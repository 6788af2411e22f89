/** Coverage classes in the order of their palette index: whether a pixel was ever sharp, and if not, why. */
export const coverageClassNames = [
  'covered',
  'before-first',
  'after-last',
  'gap',
  'no-detail',
  'out-of-reach',
] as const;

/** Whether a pixel was ever sharp, and where not, why. */
export type CoverageClassName = (typeof coverageClassNames)[number];

/** How a class is shown and described to people. */
export interface CoverageClass {
  name: CoverageClassName;
  /** Red, green, blue, 0 to 255. */
  rgb: readonly [number, number, number];
  /** What it means for the picture. */
  meaning: string;
}

/**
 * Classes by palette index. The colours are of the set of Okabe & Ito, "Color Universal Design" (2008), chosen
 * there to be distinguished with every common kind of colour vision; the covered area takes a neutral grey of our own.
 */
export const coverageClasses: readonly CoverageClass[] = [
  { name: 'covered', rgb: [216, 216, 216], meaning: 'sharp in at least one frame' },
  { name: 'before-first', rgb: [213, 94, 0], meaning: 'lies beyond the plane of focus of the first frame' },
  { name: 'after-last', rgb: [0, 114, 178], meaning: 'lies beyond the plane of focus of the last frame' },
  {
    name: 'gap',
    rgb: [240, 228, 66],
    meaning: 'lies between two frames whose planes of focus are too far apart',
  },
  { name: 'no-detail', rgb: [0, 0, 0], meaning: 'has no detail by which to judge focus' },
  {
    name: 'out-of-reach',
    rgb: [204, 121, 167],
    meaning: 'is out of reach of the frames that could be sharp there',
  },
];

/** Share of each class in percent, by class index. Values beyond the classes count for none. */
export function coveragePercents(coverage: Uint8Array): number[] {
  const counts = new Uint32Array(256);
  for (let i = 0; i < coverage.length; i++) counts[coverage[i]]++;
  return coverageClasses.map((_, value) => (coverage.length ? (100 * counts[value]) / coverage.length : 0));
}

/** Shares below this are the rule at borders and in shadows, percent. */
export const worthAdvicePercent = 1;

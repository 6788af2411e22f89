// Layout of the focus-curve state, which TypeScript and kernels read and write. kernels/generate-constants.js says how they are stated.

// Numbers as they are stored

/** Layout f32 [code steps/octave]: code steps of the log measure in one octave. */
export const codesPerOctave = 512;

/** Layout f32 [frames]: frames that a stored depth index can lie before the first frame. */
export const indexOffset = 4;

/** Layout i32 [stored units]: largest number that a stored depth index holds. */
export const maxStoredIndex = 0xffff;

/** Layout f32 [1]: stored units of a weight of 1/unit^2. */
export const weightUnit = 64;

/** Layout i32 [bit]: bit of a weight that says that the steps are too coarse here. */
export const gapBit = 0x8000;

/** Layout i32 [mark]: bit of a level's weights: the peak is the detail of something beside, see window-leaks.ts. */
export const leakBit = 0x4000;

/** Layout i32 [mark]: bit beside a pixel's tone: something behind its surface lies within reach of the measure, see map-depth.ts. */
export const edgeBit = 0x100;

/** Layout i32 [mark]: bit beside a pixel's tone: it shows detail of its own, see map-depth.ts. */
export const detailBit = 0x200;

/** Layout i32 [parts]: parts in which the share of a certainty is told that is left of it. */
export const certaintyParts = 256;

/**
 * Layout i32 [mark]: in place of `gapBit` beside the surface: its curve ends at the last frame that reaches
 * the pixel, see frame-bounds.ts.
 */
export const truncatedCurve = 1;

/** Layout i32 [mark]: in the same place: all that shows the pixel's surface is the detail of something beside. */
export const leakedPeak = 2;

/** Layout i32 [mark]: mark of a truncated curve: of its best frame, */
export const bestTruncated = 1;

/** Layout i32 [mark]: and of the second peak. */
export const secondTruncated = 2;

/** Layout i32 [1/octave]: stored units of support in an octave. */
export const supportSteps = 8;

/** Layout i32 [1/8 octave]: largest support that seven bits hold. */
export const maxKeptSupport = 127;

/** Layout i32 [1/8 ln odds]: largest of what tones say that seven bits hold with its sign: see kernels/assembly/candidates.ts. */
export const maxToneOdds = 63;

/** Layout i32 [px]: columns of a tile of the finest level of the blend; its rows are those of a strip. */
export const tileColumns = 64;

// Planes of the focus-curve state; the last two are kept at level 0 alone

/** Layout usize [plane]: best measure of a pixel, code steps; 0 = none. */
export const bestPlane = 0;

/** Layout usize [plane]: measure of the frame before the best one. */
export const beforePlane = 1;

/** Layout usize [plane]: measure of the frame after it. */
export const afterPlane = 2;

/** Layout usize [plane]: measure of the latest frame; then where curves are truncated, see frame-bounds.ts; then work of labels.ts. */
export const latestPlane = 3;

/** Layout usize [plane]: lowest measure since the best; then work of labels.ts. */
export const valleyPlane = 4;

/** Layout usize [plane]: best rival measure beyond a valley. */
export const secondPlane = 5;

/** Layout usize [plane]: ordinal of the best frame; 0 = none. */
export const bestOrdinalPlane = 6;

/** Layout usize [plane]: ordinal of the rival. */
export const secondOrdinalPlane = 7;

/** Layout usize [plane]: ordinal of the nearer peak where it stands out, see `frontOf`; 0 = none. */
export const frontPlane = 8;

/** Layout usize [plane]: lumas of best and rival, 0 to 255, two a number. */
export const tonesPlane = 9;

/** Layout usize [plane]: the same of level 1, at the size of level 0. */
export const coarseTonesPlane = 10;

// The same planes once peaks are found

/** Layout usize [plane]: height of the peak above noise, code steps. */
export const risePlane = bestPlane;

/** Layout usize [plane]: depth index of the peak. */
export const indexPlane = beforePlane;

/** Layout usize [plane]: weight of the depth index, with `gapBit` and `truncatedCurve`. */
export const weightPlane = afterPlane;

/** Layout usize [plane]: where curves are truncated, see frame-bounds.ts. */
export const truncationPlane = latestPlane;

/** Layout usize [plane]: height of the second peak above noise, 0 = none; of level 0 depth indices of the surface in the end. */
export const secondRisePlane = secondPlane;

/** Layout usize [plane]: depth index of the second peak; of level 0 weights of the surface in the end. */
export const secondIndexPlane = secondOrdinalPlane;

// Written by generate-constants.js from src/model/constants. Do not edit.

/** [1/64 frame]: blend radius along the stack next to the surface or a peak: halfway between two planes of focus two frames contribute, at a plane hardly more than one. The largest at which lost contrast is restored. */
export const clearReach: i32 = 84;

/** [1/64 frame]: the same where no contrast is restored: where detail stands less than `clearRise` above noise. */
export const faintReach: i32 = 88;

/** [code steps]: contrast is restored, and own peaks overrule the surface, where detail stands this far above noise. */
export const clearRise: i32 = 1536;

/** [1/64 frame]: blend radius that takes in a single frame. */
export const singleReach: i32 = 60;

/** [1/64 frame]: blend radius where nothing is sharp: the frames show the same there, and their mean has less noise. */
export const flatReach: i32 = 252;

/** [levels of the pyramid]: number of finest levels: there a thin structure is layered over what lies behind it, and noise, which is fine, is averaged where nothing is sharp. */
export const finestLevels: i32 = 3;

/** [weight]: weight of the front layer: a little less than the sum of the weights around a centre. At 1 a head full of bright hairs loses .1 dB, at that sum a photograph .3. */
export const frontWeight: f32 = 1.1;

/** [share]: largest relative gain of a coefficient: a larger one would amplify noise, and the loss is estimated to second order only. */
export const maxRestored: f32 = 0.6;

/** [1/64 of a step]: half of a long step: the largest distance of a depth index from the nearer of its frames. */
export const halfStep: i32 = 32;

/** [px of the level]: pixels to either side over which a measure averages energy: its binomial window of five. */
export const averageRadius: i32 = 2;

/** [px of the level]: pixels to either side that a measure depends on: energy is of second differences. */
export const windowRadius: i32 = 3;

/** [usual steps]: a step of this length or more is a missed or oversized one: halfway between one step and two. */
export const minLongStep: f32 = 1.5;

/** [standard errors]: the same where a second observation says so too: 95 % of normal errors lie within. */
export const confirmedSigmas: f32 = 2;

/** [octaves/unit^2]: bend that is assumed for a focus curve at its peak where neither side, or only one, shows it. */
export const usualBend: f32 = 0.5;

/** [octaves]: minimum height of a peak above noise: the maximum of many noise samples comes partway there. */
export const minPeakOctaves: f32 = 1;

/** [octaves]: height above noise from which a curve is reliable by itself: noise can take as much off a peak as it can add, and what is left is one. */
export const clearOctaves: f32 = 2;

/** [octaves]: what stands this far above noise is no noise: it is clear against the highest peaks that noise makes. */
export const sureOctaves: f32 = 3;

/** [1/64 frame]: the same, as the blend counts. */
export const endReach64ths: i32 = 48;

/** [units]: peaks of one pixel that are nearer to each other than this are one, */
export const apartUnits: f32 = 2;

/** [units]: and so are depth indices of pixels. */
export const sameUnits: f32 = 1.25;

/** [code steps/octave]: code steps of the log measure in one octave. */
export const codesPerOctave: f32 = 512;

/** [frames]: frames that a stored depth index can lie before the first frame. */
export const indexOffset: f32 = 4;

/** [stored units]: largest number that a stored depth index holds. */
export const maxStoredIndex: i32 = 65535;

/** [1]: stored units of a weight of 1/unit^2. */
export const weightUnit: f32 = 64;

/** [bit]: bit of a weight that says that the steps are too coarse here. */
export const gapBit: i32 = 32768;

/** [mark]: bit of a level's weights: the peak is the detail of something beside, see window-leaks.ts. */
export const leakBit: i32 = 16384;

/** [mark]: bit beside a pixel's tone: something behind its surface lies within reach of the measure, see map-depth.ts. */
export const edgeBit: i32 = 256;

/** [mark]: bit beside a pixel's tone: it shows detail of its own, see map-depth.ts. */
export const detailBit: i32 = 512;

/** [parts]: parts in which the share of a certainty is told that is left of it. */
export const certaintyParts: i32 = 256;

/** [mark]: in place of `gapBit` beside the surface: its curve ends at the last frame that reaches the pixel, see frame-bounds.ts. */
export const truncatedCurve: i32 = 1;

/** [mark]: in the same place: all that shows the pixel's surface is the detail of something beside. */
export const leakedPeak: i32 = 2;

/** [mark]: mark of a truncated curve: of its best frame, */
export const bestTruncated: i32 = 1;

/** [mark]: and of the second peak. */
export const secondTruncated: i32 = 2;

/** [1/octave]: stored units of support in an octave. */
export const supportSteps: i32 = 8;

/** [1/8 octave]: largest support that seven bits hold. */
export const maxKeptSupport: i32 = 127;

/** [1/8 ln odds]: largest of what tones say that seven bits hold with its sign: see kernels/assembly/candidates.ts. */
export const maxToneOdds: i32 = 63;

/** [px]: columns of a tile of the finest level of the blend; its rows are those of a strip. */
export const tileColumns: i32 = 64;

/** [plane]: best measure of a pixel, code steps; 0 = none. */
export const bestPlane: usize = 0;

/** [plane]: measure of the frame before the best one. */
export const beforePlane: usize = 1;

/** [plane]: measure of the frame after it. */
export const afterPlane: usize = 2;

/** [plane]: measure of the latest frame; then where curves are truncated, see frame-bounds.ts; then work of labels.ts. */
export const latestPlane: usize = 3;

/** [plane]: lowest measure since the best; then work of labels.ts. */
export const valleyPlane: usize = 4;

/** [plane]: best rival measure beyond a valley. */
export const secondPlane: usize = 5;

/** [plane]: ordinal of the best frame; 0 = none. */
export const bestOrdinalPlane: usize = 6;

/** [plane]: ordinal of the rival. */
export const secondOrdinalPlane: usize = 7;

/** [plane]: ordinal of the nearer peak where it stands out, see `frontOf`; 0 = none. */
export const frontPlane: usize = 8;

/** [plane]: lumas of best and rival, 0 to 255, two a number. */
export const tonesPlane: usize = 9;

/** [plane]: the same of level 1, at the size of level 0. */
export const coarseTonesPlane: usize = 10;

/** [plane]: height of the peak above noise, code steps. */
export const risePlane: usize = 0;

/** [plane]: depth index of the peak. */
export const indexPlane: usize = 1;

/** [plane]: weight of the depth index, with `gapBit` and `truncatedCurve`. */
export const weightPlane: usize = 2;

/** [plane]: where curves are truncated, see frame-bounds.ts. */
export const truncationPlane: usize = 3;

/** [plane]: height of the second peak above noise, 0 = none; of level 0 depth indices of the surface in the end. */
export const secondRisePlane: usize = 5;

/** [plane]: depth index of the second peak; of level 0 weights of the surface in the end. */
export const secondIndexPlane: usize = 7;

/** [units]: lower bound on the error of a depth index: steps are uneven, curves not Gaussian. */
export const minIndexError: f32 = 0.1;

/** [octaves]: upper bound on support. */
export const maxSupport: f32 = 6;

/** [share]: A pixel is contested where the next candidate has more than this share of the best one's support. */
export const contestedShare: f32 = 0.35;

/** [1/8 octave]: support of a candidate that is reliable without its neighbours, and averaged support of one that is reliable with them. */
export const sureSupport: i32 = 24;

/** [percent]: a candidate with less than this share of the best one's support is dropped. */
export const droppedPercent: i32 = 25;

/** [units]: a neighbour's candidate supports one that lies less than this from it: by half within what is one surface. */
export const supportReach: f32 = 2.5;

/** [levels]: pixels whose tones differ by this much do not look alike where a surface is smooth; */
export const toneNoise: f32 = 16.7;

/** [ratio]: where it is not, so many standard deviations of the tones around are added in squares. */
export const tonePart: f32 = 1.336;

/** [px of the level]: pixels to either side, as far as the window of the measure reaches, */
export const aroundRadius: i32 = 3;

/** [px]: minimum number of those that have the peak as well, as many as lie in a quadrant, for in the corner of a thing there are no more: a coarser level is used where the two finest show nothing. */
export const minAround: i32 = 12;

/** [px]: radius of the disc in which what lies behind is searched for, and the tones of a near surface that only a wide window shows; */
export const backRadius: i32 = 11;

/** [px]: of its rows one in so many is looked at: they tell as much as all. */
export const discRows: i32 = 3;

/** [px]: pixels of the disc in those rows. */
export const discPixels: f32 = 127;

/** [ln support]: near or behind: what alpha - 1/2, times contrast, times the share of what lies around that is behind counts for, where the logarithm of the ratio of the supports counts for one. Contrast is that of the two tones to `toneNoise` and the texture of what is behind. With 4 to 8, of all pixels with both candidates .1 % more are decided wrongly at most. */
export const alphaOdds: f32 = 6;

/** [octaves]: added to supports whose ratio is taken: the least that is stored. */
export const minCompared: f32 = 0.125;

/** [1/unit^2]: weight of a second peak, whose depth index is a whole frame, and of one taken over from neighbours. */
export const wholeFrameWeight: f32 = 5;

/** [share]: a depth index of level 1 counts for each of the four pixels that share it by a quarter of its weight. */
export const coarserShare: f32 = 0.25;

/** [px]: how far beside something near pixels have its depth: the window of the measure. */
export const edgeReach: i32 = 3;

/** [px]: half side of the square in which what is near and what is behind show their tones: as far again. */
export const shareRadius: i32 = 6;

/** [px]: how far from a pixel detail of its surface is looked for: twice the half side of that square. */
export const ringRadius: i32 = 12;

/** [px]: pixels of the measure's window: detail shows in as many at least, and a near surface with so many of them that are farther from its edge is broad. */
export const thinPixels: i32 = 49;

/** [ln odds/standard deviation]: slope of the logistic distribution that comes nearest to the normal one: N. L. Johnson & S. Kotz, Continuous Univariate Distributions (1970). */
export const normalSlope: f32 = 1.702;

/** [ln odds]: logarithm of the odds that a depth index is right within a unit: a number, */
export const certaintyOdds: f32 = -1;

/** [ln odds]: and parts of the logarithms of the support, */
export const certaintyOfSupport: f32 = 1.2;

/** [ln odds]: and of its ratio to that of the next candidate. Logistic regression on the scenes for tuning. */
export const certaintyOfLead: f32 = 0.75;

/** [octaves]: a peak of clear detail is real unless the coarse level's stands higher by more than this; and tolerance of the lead that an edge's blur calls for. Set on scenes. */
export const rimTolerance: f32 = 4;

/** [1/64 frame]: a finer level's peak is the marked one when it lies this near to it. */
export const samePeak64ths: i32 = 80;

/** [px of the level]: how far beside detail the measure still answers to it: its window. */
export const leakRadius: i32 = 3;

/** [px of the level]: half side of the window about a site: on either side of an edge the measure's window leaks so far, and so far again detail is seen through a rim or measured beyond the leak; a window's reach more for edges that do not pass through the site. */
export const siteRadius: i32 = 9;

/** [frames]: peaks within this many frames of each other belong to one side: whole frames within `sameUnits`. */
export const sideFrames: i32 = 1;

/** [code steps]: detail seen through a rim is fainter than in the open by no more than this, two and a half octaves: of its contrast .42 is left, which a straight rim lets through an eighth of its width from the edge. What is fainter is mostly blur. With 2 to 3 octaves 74 or 75 of 79 stacks for tuning are told, none wrong. */
export const faintCodes: i32 = 1280;

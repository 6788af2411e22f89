// Constants of the rail: steps, positions, shake and sensor flaws (src/rail). kernels/generate-constants.js says how they are stated.
import {
  clearOctaves,
  confirmedSigmas,
  extremeShare,
  minBurntLevel,
  minClearChange,
  mixedTileSigma,
  outlierSigmas,
  railStepSigma,
} from './model.js';

// Detail of tiles

/** Free int [px]: spacing of the second difference: its response peaks at periods of twice that. */
export const differencePx = 2;

/**
 * Effort int [cells]: approximate number of cells in a frame: enough to locate what is sharp, few enough to keep for every
 * frame. Half as many find the same planted faults.
 */
export const targetCells = 2250;

/**
 * Derived int [px]: minimum side of a cell: the energy of noise in n independent values scatters by sqrt(2 / n) (chi-squared),
 * here no more than the curves of tiles do anyway. Of the differences of white noise, whose weights 1, -2 and 1 correlate those
 * one and two spacings apart by -2 / 3 and 1 / 6, a part of 1 / (1 + 2 (4 / 9 + 1 / 36)) is independent.
 */
export const minCellPx = Math.round(Math.sqrt(2 * (1 + 2 * (4 / 9 + 1 / 36))) / mixedTileSigma);

/** Effort [px]: from this many pixels on, only every second row is measured. */
export const rowSkipMinPixels = 600_000;

/** Effort [px]: pixels of all frames together from which the evidence of a merge is gathered in a thread of its own. */
export const minThreadPixels = 60e6;

/** Effort int [threads]: threads of the merge from which it is. */
export const minReadingThreads = 4;

/** Effort [px]: minimum pixels of the pictures that detail is measured on. */
export const minDetailPixels = 1.2e6;

/** Effort [px]: minimum pixels of the pictures that motion is measured on. */
export const minMotionPixels = 0.3e6;

// Noise of tiles

/** Derived [levels squared]: energy of rounding to 8 bits, the lower limit for pictures without noise: a variance of 1 / 12 with
 * the weights 1, -2 and 1 of a second difference. */
export const roundingEnergy = 6 / 12;

/** Derived [levels]: noise is about uniform from this brightness on: shadows may have more of it, or be clipped, and hide dust. */
export const minMidtone = 256 * extremeShare;

/** Derived [levels]: and up to as far from the other end. */
export const maxMidtone = 256 - minMidtone;

/** Derived [ln energy]: minimum height of a peak over the lowest point of its curve, and the difference that two frames beside
 * a peak may have. */
export const minProminence = clearOctaves * Math.LN2;

// Focus curves of tiles

/** Effort int [frames]: samples of a curve fitted on each side of its best frame: minimum, */
export const minSamplesPerSide = 5;

/** Effort int [frames]: and maximum. */
export const maxSamplesPerSide = 20;

/**
 * Free int [usual steps]: so far from the frames that show it what is sharp is still placed by the flank of its curve: how far beyond
 * the ends of the stack best focus is searched, and the longest step that is measured.
 */
export const maxBeyondEnd = 3;

/** Effort [steps]: resolution of that falloff, */
export const falloffBinSteps = 0.25;

/** Effort [steps]: resolution of that search. */
export const offsetStep = 0.125;

/** Effort [ratio]: and of that of widths. */
export const widthRatio = 1.2;

/** Effort [steps]: largest offset from the best frame where that is not at an end. */
export const maxOffset = 1.5;

/** Derived [ln energy]: maximum error of a fit whose width is used: others belong to tiles of several depths. */
export const maxWidthError = confirmedSigmas * mixedTileSigma;

/** Effort int [frames]: maximum number of samples of a segment on each side of the peak of a curve. */
export const segmentSamplesPerSide = 3;

/** Derived [frames]: minimum number of samples of a segment: one more than its curve has parameters. */
export const minSegmentSamples = 3 + 1;

/** Effort int [frames]: consecutive frames that are read in full. */
export const burstFrames = 5;

/** Effort int [tiles]: tiles whose full-size detail is measured over the burst, */
export const detailTiles = 90;

/** Effort int [tiles]: and tiles without detail, which give the noise. */
export const noiseTiles = 20;

/** Effort int [px]: side of such a tile. */
export const fineTilePx = 48;

// Steps and positions

/** Derived int [steps]: minimum known steps around for an expected change: the median of three does not follow one of them, */
export const minKnownSteps = 3;

/** Derived [steps]: and on each side for a linear trend, which would follow a single one wherever it lies. */
export const minStepsPerSide = 2;

/** Derived [ln energy]: minimum expected change: the scatter of noise of which the smallest clear change is an outlier. */
export const minTypicalChange = minClearChange / outlierSigmas;

/** Derived [usual steps]: resolution of a step, two standard deviations: travel below this is not distinguished from none. */
export const minStep = confirmedSigmas * railStepSigma;

/**
 * Derived [usual steps]: steps that are this long by the change of the picture, two standard deviations over a usual one, may be
 * longer: the curves of the tiles decide, where they confirm it.
 */
export const minUncertainStep = 1 + confirmedSigmas * railStepSigma;

/** Derived [usual steps]: length by the curves from which a long step is confirmed: two steps less two standard deviations. */
export const minConfirmedStep = 2 - confirmedSigmas * railStepSigma;

/** Derived [steps]: steps on each side that a segment of a curve may span. */
export const maxCurveSteps = 2 * segmentSamplesPerSide;

/**
 * Free [share]: at a turn: minimum share of tiles with a clear change, since in smaller steps noise looks like a
 * turn, and of tiles that are least sharp in the middle of three frames.
 */
export const minChangedShare = 0.2;

/** Free [share]: maximum share that change monotonically at a turn. */
export const maxSlopeShare = 0.38;

/** Derived [share]: so many of the tiles are nearly all. */
export const nearlyAllShare = 1 - extremeShare;

/**
 * Derived [frames]: minimum samples of a curve on each side of a step: a curve of any width passes through a
 * single one.
 */
export const minStepSamples = 2;

/**
 * Derived [usual steps]: longest step that is represented, where it follows from positions or frame numbers.
 * Coverage counts in 1/64 of a step (`judgeStrip`), in which the smallest range of a frame, half a usual
 * step on each side, must not round to zero.
 */
export const maxStep = 30;

/**
 * Free int [tiles]: errors of neighbouring tiles are correlated: number of tiles per effective sample. Fitted on
 * rendered stacks.
 */
export const tilesPerEffectiveSample = 20;

/**
 * Effort int [rounds]: alternation between the curves of the tiles and the positions of the frames: maximum
 * rounds,
 */
export const positionRounds = 12;

/** Effort [ratio]: damping of a round, */
export const damping = 0.8;

/** Effort [usual steps]: and the change at which it has converged. */
export const convergedChange = 0.002;

// A stack that is being shot

/** Effort int [frames]: newest frames that are measured together: those whose curves the newest one changes. */
export const windowFrames = 20;

/** Derived [frames]: frames whose neighbours are missing at the end of a window inside the stack. */
export const unsettledEnd = segmentSamplesPerSide;

/**
 * Free int [px]: spacing of the second difference for detail that shows from farther out of focus: eight times as broad
 * as what focus is judged by.
 */
export const broadSpacingPx = 16;

/** Derived [frames]: last frames whose slope gives the distance of tiles that are not in focus yet: as many as a segment spans. */
export const aheadFrames = maxCurveSteps;

// Shaken frames

/** Free [ln energy]: anisotropic loss from which a frame counts as shaken. */
export const minAnisotropy = 0.15;

// Sensor flaws

/** Derived [levels]: keeps noise in shadows from growing in the logarithm. */
export const lumaOffset = minMidtone;

/** Effort [px]: dust is looked for on pictures of about so many pixels. */
export const planePixels = 400_000;

/** Free int [px of the plane]: half width of the smallest boxes that are compared with their surroundings. */
export const minSpotRadius = 2;

/** Derived int [px of the plane]: half widths of all of them, an octave apart; the surroundings are three times as wide. */
export const spotRadii = [minSpotRadius, 2 * minSpotRadius];

/**
 * Derived int [px of the plane]: rows and columns beside a pixel that its darkening is made of. Specks nearer to each other are
 * one: each lies in the surroundings of the other.
 */
export const spotReachPx = 3 * Math.max(...spotRadii);

/** Derived int [px of the plane]: pixels within so many rows and columns of a darker one are no spots of their own. */
export const spotIsolationPx = minSpotRadius;

/** Effort [1 / ln]: residuals are summed in whole units, exactly: a unit is less than their noise by orders of magnitude. */
export const residualUnits = 2 ** 20;

/** Effort int [bands]: bands of rows that dust is searched in, for each thread: none waits long for the last. */
export const spotBandsPerThread = 2;

/** Derived [px of the plane]: radius of a speck with its blurred rim: an upper bound. */
export const rimRadius = Math.max(...spotRadii) + 1;

/** Derived [px of the plane]: minimum motion of the picture between compared frames: a box half covers other detail, */
export const minMovePx = minSpotRadius;

/** Effort int [frames]: and the maximum distance between them. */
export const maxLag = 6;

/** Effort int [specks]: maximum number of specks. */
export const maxSpots = 40;

/**
 * Derived [levels]: dust is invisible when it takes less light than two standard errors of rounding, 1 / sqrt(12) each. Pixels that
 * clip to black do not dim by a constant factor, as dust does.
 */
export const minDarkeningLevels = confirmedSigmas / Math.sqrt(12);

/**
 * Derived int [px]: extent of a hot pixel on each side: sensors have each colour at every second pixel or so, and what lies
 * between is interpolated.
 */
export const hotSpreadPx = 1;

/** Derived [px]: distance of the samples that it is compared with and replaced by. */
export const hotRingPx = hotSpreadPx + 1;

/** Effort [px]: more candidates are glints of the subject, not defects of a sensor. */
export const maxHotCandidates = 20_000;

/** Effort int [samples]: that are looked through at once: they and their list fit in a core's own cache. */
export const samplesAtOnce = 2 ** 15;

/** Free int [frames]: minimum number of frames to search. */
export const minHotFrames = 3;

/**
 * Effort int [frames]: length of the runs of frames that are searched for dust, at both ends and in the middle.
 */
export const dustRun = 12;

/** Effort int [frames]: number of frames, spread over the stack, that are searched for hot pixels. */
export const hotFrames = 7;

/** Derived [levels]: samples up to this are blocked: JPEG blurs this end of the range as it does the other. */
export const maxBlockedLevel = 255 - minBurntLevel;

/** Effort int [cells]: cells across in which burnt pixels are counted, */
export const burntColumns = 12;

/** Derived [cells]: and down, for frames of 3 : 2. */
export const burntRows = Math.round((burntColumns * 2) / 3);

// Constants of the rail: steps, positions, shake and sensor flaws (src/rail). kernels/generate-constants.js says how they are stated.

// Detail of tiles

/**
 * Free int [cells]: approximate number of cells in a frame: enough to locate what is sharp, few enough to keep
 * for every frame.
 */
export const targetCells = 9000;

/** Free int [px]: minimum side of a cell. */
export const minCellPx = 8;

/** Effort [px]: from this many pixels on, only every second row is measured. */
export const rowSkipMinPixels = 600_000;

/** Free int [px]: spacing of the second difference: its response peaks at periods of twice that. */
export const differencePx = 2;

/**
 * Free int [cells]: cells along the side of a tile: with two, small shifts between frames hardly change the
 * content of a tile.
 */
export const cellsPerTile = 2;

/** Effort [px]: pixels of all frames together from which the evidence of a merge is gathered in a thread of its own. */
export const minThreadPixels = 60e6;

/** Effort int [threads]: threads of the merge from which it is. */
export const minReadingThreads = 4;

/** Effort [px]: minimum pixels of the pictures that detail is measured on. */
export const minDetailPixels = 1.2e6;

/** Effort [px]: minimum pixels of the pictures that motion is measured on. */
export const minMotionPixels = 0.3e6;

// Noise of tiles

/**
 * Free [share]: share of the tiles, sorted by their minimum energy over the stack, that contain noise only
 * in some frame.
 */
export const noiseOnlyShare = 0.1;

/** Free [levels squared]: energy of quantisation to 8 bits, the lower limit for pictures without noise. */
export const roundingEnergy = 0.3;

/**
 * Free [levels]: noise is about uniform from this brightness on: shadows may have more of it, or be clipped.
 */
export const minMidtone = 16;

/** Derived [levels]: and up to as far from the other end. */
export const maxMidtone = 256 - minMidtone;

/** Free [ratio]: ratio of energy to noise from which a tile shows detail. */
export const minNoiseRatio = 2.5;

/** Free [ln energy]: minimum height of a peak over the lowest point of its curve: about two octaves. */
export const minProminence = 1.4;

// Focus curves of tiles

/** Effort int [frames]: samples of a curve fitted on each side of its best frame: minimum, */
export const minSamplesPerSide = 5;

/** Free [widths]: the same as a multiple of the median width, */
export const widthsPerSide = 2.5;

/** Effort int [frames]: and maximum. */
export const maxSamplesPerSide = 20;

/** Free int [steps]: best focus is searched for this far beyond the ends of the stack. */
export const maxBeyondEnd = 3;

/** Free [steps]: minimum distance up to which the falloff of the curves of a stack must be seen to be used. */
export const minFalloffSteps = 2;

/** Effort [steps]: resolution of that falloff, */
export const falloffBinSteps = 0.25;

/** Effort int [samples]: and minimum number of samples of each of its distances. */
export const minFalloffSamples = 12;

/** Effort [steps]: resolution of that search. */
export const offsetStep = 0.125;

/** Effort [steps]: largest offset from the best frame where that is not at an end. */
export const maxOffset = 1.5;

/** Free [ln width]: standard deviation of the widths over the tiles: prior of the second fit. */
export const logWidthSigma = 0.35;

/**
 * Free [share]: minimum share of the expected increase that a curve which peaks beyond an end must show in
 * the last two frames there.
 */
export const minEndRise = 0.5;

/** Free [ln energy]: maximum error of a fit whose width is used. */
export const maxWidthError = 0.5;

/** Effort int [frames]: maximum number of samples of a segment on each side of the peak of a curve. */
export const segmentSamplesPerSide = 3;

/** Derived [frames]: minimum number of samples of a segment: one more than its curve has parameters. */
export const minSegmentSamples = 3 + 1;

/** Free [ln energy]: a segment ends where the curve comes this near to the noise, */
export const segmentNoiseMargin = 0.7;

/** Free [ln energy]: or turns up again by this much. */
export const minUpturn = 0.1;

/** Effort int [frames]: consecutive frames that are read in full. */
export const burstFrames = 5;

/** Effort int [tiles]: tiles whose full-size detail is measured over the burst, */
export const detailTiles = 90;

/** Effort int [tiles]: and tiles without detail, which give the noise. */
export const noiseTiles = 20;

/** Free int [px]: side of such a tile. */
export const fineTilePx = 48;

/** Free [ln energy]: samples this near to the floor of a curve do not give the height of its peak. */
export const minPeakRise = 0.3;

// Steps and positions

/** Free int [steps]: steps on each side from which the expected change is estimated. */
export const maxNeighbourSteps = 4;

/** Free int [steps]: minimum known steps around for an expected change, */
export const minKnownSteps = 3;

/** Free int [steps]: and on each side for a linear trend. */
export const minStepsPerSide = 2;

/** Free [ln energy]: minimum expected change: noise causes less. */
export const minTypicalChange = 0.12;

/** Free [usual steps]: resolution of a step: travel below this is not distinguished from none. */
export const minStep = 0.4;

/**
 * Free [usual steps]: steps that are this long by the change of the picture may be longer: the curves of the
 * tiles decide, where they confirm it. Of 21 rendered steps of about two they measured 1.5 to 2.4, of steps
 * of one hardly any above 1.6.
 */
export const minUncertainStep = 1.35;

/** Free [usual steps]: length by the curves from which a long step is confirmed. */
export const minConfirmedStep = 1.7;

/** Free [usual steps]: the same for steps that were not taken at all. */
export const maxConfirmedStandstill = 0.25;

/** Derived [steps]: steps on each side that a segment of a curve may span. */
export const maxCurveSteps = 2 * segmentSamplesPerSide;

/** Free [ln energy]: additional margin over the noise for tiles that decide on a turn. */
export const turnNoiseMargin = 0.9;

/**
 * Free [share]: at a turn: minimum share of tiles with a clear change, since in smaller steps noise looks like a
 * turn, and of tiles that are least sharp in the middle of three frames.
 */
export const minChangedShare = 0.2;

/** Free [share]: maximum share that change monotonically, */
export const maxSlopeShare = 0.38;

/** Free [share]: minimum share of the tiles with a peak that are sharpest in the same two frames in a thin subject. */
export const thinSubjectShare = 0.8;

/** Free [share]: a turn where nothing is in focus: minimum share of tiles that agree, */
export const unanimousShare = 0.9;

/** Free [share]: their minimum share of all tiles, */
export const minTurnTileShare = 0.05;

/**
 * Free [ratio]: and the maximum change between the outer frames relative to the smaller of the two single
 * changes.
 */
export const maxReturnRatio = 0.4;

/**
 * Derived [frames]: minimum samples of a curve on each side of a step: a curve of any width passes through a
 * single one.
 */
export const minStepSamples = 2;

/** Free [usual steps]: longer steps cannot be measured: what lies inside them is sharp in no frame. */
export const maxMeasuredStep = 3;

/**
 * Derived [usual steps]: longest step that is represented, where it follows from positions or frame numbers.
 * Coverage counts in 1/64 of a step (`judgeStrip`), in which the smallest range of a frame, half a usual
 * step on each side, must not round to zero.
 */
export const maxStep = 30;

/** Free int [tiles]: minimum number of tiles that positions are fitted to. */
export const minPositionTiles = 30;

/**
 * Free int [tiles]: errors of neighbouring tiles are correlated: number of tiles per effective sample. Fitted on
 * rendered stacks.
 */
export const tilesPerEffectiveSample = 20;

/** Free [ratio]: and its factor for steps that are longer than one. */
export const longStepSigmaRatio = 4;

/**
 * Effort int [rounds]: alternation between the curves of the tiles and the positions of the frames: maximum
 * rounds,
 */
export const positionRounds = 12;

/** Effort [ratio]: damping of a round, */
export const damping = 0.8;

/** Effort [usual steps]: and the change at which it has converged. */
export const convergedChange = 0.002;

/**
 * Free [usual steps]: standard error of a step per unit of the misfit of the tiles. Fitted on rendered
 * stacks with even steps.
 */
export const stepSigmaPerMisfit = 0.14;

/** Free [ln energy]: lower bound on the scatter of the samples about their curves. */
export const minMisfit = 0.05;

// A stack that is being shot

/** Effort int [frames]: newest frames that are measured together: those whose curves the newest one changes. */
export const windowFrames = 20;

/** Free int [frames]: frames whose neighbours are missing at the end of a window inside the stack. */
export const unsettledEnd = 3;

/**
 * Free int [px]: spacing of the second difference for detail that shows from farther out of focus: eight times as broad
 * as what focus is judged by.
 */
export const broadSpacingPx = 16;

/** Free int [frames]: last frames whose slope gives the distance of tiles that are not in focus yet. */
export const aheadFrames = 6;

/** Free [ln energy]: minimum rise of such a tile over these frames: noise makes less, */
export const minAheadRise = 0.5;

/** Free [ln energy]: and maximum scatter about the fitted flank: more belongs to a tile of two depths. */
export const maxAheadError = 0.25;

// Shaken frames

/**
 * Free [ln energy]: a tile is taken to peak in a frame when the two frames beside it show it about equally
 * sharp: maximum difference of those two. Half a step off the peak, curves of 0.4 to 2 usual steps half
 * width differ by 0.7 to 2.
 */
export const maxSideDifference = 1.5;

/**
 * Free [ln energy]: anisotropic loss from which a frame counts as shaken: at the ends of the stack by
 * itself,
 */
export const minAnisotropyAtEnd = 0.155;

/** Free [ln energy]: elsewhere together with a dip in sharpness. */
export const minAnisotropyWithDip = 0.13;

/** Free [ratio]: minimum ratio of the anisotropy of a frame to the median of the stack. */
export const minAnisotropyRatio = 3;

/** Free [ratio]: the same for the first and the last frame, which have a neighbour on one side only. */
export const minEndAnisotropyRatio = 4;

/** Free [ln energy]: isotropic loss from which a soft frame counts as shaken in no single direction. */
export const minDip = 0.9;

/**
 * Free [share]: minimum share of tiles with a crest at a turn, and of frames that are not shaken: one that is blurred
 * as a whole has hardly any.
 */
export const minCrestShare = 0.12;

// Sensor flaws

/** Free [levels]: keeps noise in shadows from growing in the logarithm. */
export const lumaOffset = 12;

/** Effort [px]: dust is looked for on pictures of about so many pixels. */
export const planePixels = 400_000;

/**
 * Free int [px of the plane]: half widths of the boxes that are compared with their surroundings; the
 * surroundings are three times as wide.
 */
export const spotRadii = [2, 4];

/** Free int [px of the plane]: radius of a speck with its blurred rim: an upper bound. */
export const rimRadius = 5;

/** Free [ln light]: minimum darkening of a speck against the frames around. */
export const minDarkening = 0.004;

/** Free [px of the plane]: minimum motion of the picture between compared frames, */
export const minMovePx = 1.2;

/** Effort int [frames]: and the maximum distance between them. */
export const maxLag = 6;

/** Effort int [specks]: maximum number of specks. */
export const maxSpots = 40;

/** Free [px of the plane]: specks nearer to each other than this are one. */
export const minSpotDistancePx = 14;

/** Free [share]: minimum share of its darkening that a speck shows against the frames on each side, */
export const minSidedShare = 0.35;

/** Free [levels]: dust is invisible on ground that is darker than this */
export const minDustLuma = 24;

/** Free [share]: in such a share of the frames, */
export const darkShare = 0.25;

/**
 * Free [levels]: or when it takes less light than this. Pixels that clip to black do not dim by a constant
 * factor, as dust does.
 */
export const minDarkeningLevels = 0.6;

/** Free [ln light]: lower bound on the scatter of a pixel: few comparisons may agree by chance. */
export const minDustScatter = 0.003;

/** Free [levels]: minimum excess of a hot pixel over the samples around it, in every frame. */
export const minHotExcess = 24;

/** Free int [px]: extent of a hot pixel on each side after raw conversion and compression. */
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

/** Free [levels]: samples up to this are blocked: JPEG blurs the end of the range by a level or two. */
export const maxBlockedLevel = 1;

/** Effort int [cells]: cells across in which burnt pixels are counted, */
export const burntColumns = 12;

/** Derived [cells]: and down, for frames of 3 : 2. */
export const burntRows = Math.round((burntColumns * 2) / 3);

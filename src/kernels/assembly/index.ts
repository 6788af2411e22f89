export { accumulateStrip, blendFinestStrip, encodeUsedStrip } from './blend';
export { adlerOf, clearStrip, countTold, fillBytes, filterRows, peakSamples } from './bytes';
export { collapseStrip, quantiseStrip } from './collapse';
export { dropFalseRimsStrip, markFalseRimsStrip } from './false-rims';
export { focusFinestStrip, focusStrip, lumaCodesStrip, pickStrip, trackStrip } from './focus';
export {
  blockLight, fitDistances, fitEquations, lightPairs, robustRatio
} from './fit';
export { markTruncatedStrip } from './frame-bounds';
export { gatherStrip } from './candidates';
export { decideStrip } from './decide';
export { storeSurfaceStrip } from './store-surface';
export { aggregateStrip, labelStrip } from './labels';
export { encodeStrip } from './light';
export { halveOneSidedStrip, mapDepthStrip, markDepthEdgesStrip } from './map-depth';
export { halveIndicesStrip, judgeStrip, planStrip } from './plan';
export { reduceFrameStrip, reduceStrip } from './pyramid';
export {
  bandStrip, clampStrip, correlateShift, crossTiles, lightStrip, momentTiles, softenStrip
} from './register';
export { fitPeak } from './peak-fit';
export { peakStrip } from './peaks';
export { boxLogs, countClipped, detailCells, encodedLuma, roundLuma } from './reading';
export { enlargeStrip, pullStrip, pushStrip, smoothStrip } from './surface';
export { mergeSpillCellsStrip, noteLightStrip, spillCellsStrip, spillStrip, subtractSpillStrip } from './spill';
export { addSpotResponses, integrateUnits, subtractWarped } from './spots';
export { warpStrip } from './warp';
export { markLeaksStrip } from './window-leaks';

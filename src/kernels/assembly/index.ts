export { blendFinestStrip, accumulateStrip } from './blend';
export { collapseStrip, quantiseStrip } from './collapse';
export { focusFinestStrip, focusStrip, trackStrip } from './focus';
export { halvePlacesStrip, judgeStrip, planStrip } from './plan';
export { reduceFrameStrip, reduceStrip } from './pyramid';
export { bandStrip, clampStrip, lightStrip, tileCross, tileMoments } from './register';
export { combineStrip, peakStrip, pullStrip, pushStrip, smoothStrip } from './surface';
export { clearStrip, noteColoursStrip, veilStrip } from './veil';
export { warpStrip } from './warp';

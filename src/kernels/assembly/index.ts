export { blendFinestStrip, accumulateStrip } from './blend';
export { collapseStrip, quantiseStrip } from './collapse';
export { focusFinestStrip, focusStrip, trackStrip } from './focus';
export { reduceFrameStrip, reduceStrip } from './pyramid';
export { warpStrip } from './warp';

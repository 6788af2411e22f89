export { blendFinestStrip, accumulateStrip } from './blend';
export { collapseStrip, quantiseStrip } from './collapse';
export { focusFinestStrip, focusStrip, trackStrip } from './focus';
export { reduceStrip } from './pyramid';
export { warpRows } from './warp';

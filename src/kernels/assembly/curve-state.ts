// From focus curves to one surface, all in u16 planes.
//
// Places along the stack are kept as (ordinal + 4) * 64: 1/64 frame, 0 = unknown; the offset holds places before
// the first frame. Weights are inverse variances, 1/unit^2, times 64; a unit is a step of the usual length, in frames:
// `frameUnit` in surface/surface.ts. The planes of the focus-curve state (see focus.ts) are overwritten once they
// have served:
//   every level:  0 rise of the peak over noise, code steps;  1 its place;  2 its weight, bit 15 = the curve falls
//                 too far between two frames
//   level 0:      3, 4 place and weight of the surface;  5, 7 the same during smoothing;  8 bit 15 of plane 2
//   level 0: 9, others: 5   ordinal of the nearer peak where it stands out, see `strandOf`; 0 = none; bit 15 = a peak
//                 farther than the best stands out too
//
// A level table holds three u32 a level, finest first: address of plane 0, bytes from plane to plane, stride.

/** Code steps of the measure in one octave. */
export const octave: f32 = 512;
export const placeUnit: f32 = 64;
export const placeOffset: f32 = 4;
export const weightUnit: f32 = 64;
/** Bit of a weight that says that the steps are too coarse here. */
export const gapBit: i32 = 0x8000;

/** Bit of a nearer peak's ordinal that says that something farther is seen as well. */
export const behindBit: i32 = 0x8000;

// @ts-ignore: decorator
@inline
export function planeOf(levels: usize, level: i32, plane: usize): usize {
  const entry = levels + usize(level) * 12;
  return usize(load<u32>(entry)) + plane * usize(load<u32>(entry, 4));
}

// @ts-ignore: decorator
@inline
export function strideOf(levels: usize, level: i32): usize {
  return usize(load<u32>(levels + usize(level) * 12, 8));
}

// @ts-ignore: decorator
@inline
export function placeCode(place: f32): i32 {
  return max(1, i32(Mathf.floor((place + placeOffset) * placeUnit + 0.5)));
}

// @ts-ignore: decorator
@inline
export function placeAt(code: u16): f32 {
  return f32(code) * (1 / placeUnit) - placeOffset;
}

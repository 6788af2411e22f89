// One frame's codes into the focus-curve state of a level. Beside it: trackStrip of kernels/assembly/focus.ts, which says
// what the planes of the state hold and what its tones are. A thread follows two pixels. Whole numbers throughout, and eight
// pixels share one sub-pixel phase, as there.
struct Call {
  band: Band,
  codes: Set,
  luma: Set,
  state: Set,
  full: Set,
  toFrame: Affine,
  toFullFrame: Affine,
  level: i32,
  margin: i32,
  ordinal: i32,
  prominence: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
// Measures of the level: plane 0.
@group(0) @binding(1) var<storage, read> codes: array<u32>;
// Measures of level 0: luma x 64 in plane 1.
@group(0) @binding(2) var<storage, read> luma: array<u32>;
@group(0) @binding(3) var<storage, read_write> state: array<u32>;
// State of level 0, for levels 1 and 2: their tones lie there.
@group(0) @binding(4) var<storage, read_write> full: array<u32>;

fn codeAt(x: i32, y: i32) -> i32 {
  let column = clamp(x, 0, call.codes.width - 1);
  return i32(u16Of(codes[rowAt(call.codes, 0, y) + (column >> 1u)], column));
}

fn lumaAt(x: i32, y: i32) -> i32 {
  let column = clamp(x, 0, call.luma.width - 1);
  return i32(u16Of(luma[rowAt(call.luma, 1, y) + (column >> 1u)], column));
}

/** A difference times a part of 32767, rounded. */
fn partOf(difference: i32, part: i32) -> i32 {
  return (difference * part + 0x4000) >> 15u;
}

/** A bilinear sample of four neighbours. */
fn between(first: i32, right: i32, below: i32, across: i32, part: vec2i) -> i32 {
  let top = first + partOf(right - first, part.x);
  let bottom = below + partOf(across - below, part.x);
  return top + partOf(bottom - top, part.y);
}

fn toneAt(x: i32, y: i32, part: vec2i) -> i32 {
  return between(lumaAt(x, y), lumaAt(x + 1, y), lumaAt(x, y + 1), lumaAt(x + 1, y + 1), part) >> 6u;
}

/** Puts tones of level 1 or 2 where a best has changed into those of level 0 beneath: each level has a byte. */
fn noteTones(x: i32, y: i32, changed: vec2<bool>) {
  let spans = 1 << u32(call.level);
  let shift = select(8u, 0u, call.level == 1);
  for (var row = spans * y; row < min(call.full.height, spans * (y + 1)); row++) {
    for (var column = spans * x; column < min(call.full.width, spans * (x + 2)); column += 2) {
      if (!select(changed.x, changed.y, column >= spans * (x + 1))) {
        continue;
      }
      let group = column & ~7;
      let place = placeOf(call.toFullFrame, group, row, f32(group) + 3.5);
      let part = vec2i(place.part * 32767.0);
      let u = clamp(place.cell.x, -8, call.luma.width - 1) + column - group;
      let v = clamp(place.cell.y, 0, call.luma.height - 2);
      let at = rowAt(call.full, coarseTonesPlane, row) + (column >> 1u);
      let seen = pairOf(u32(toneAt(u, v, part)) << shift, u32(toneAt(u + 1, v, part)) << shift);
      full[at] = (full[at] & ~(0x00ff00ffu << shift)) | seen;
    }
  }
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let word = i32(id.x);
  let group = x & ~7;
  let place = placeOf(call.toFrame, group, y, f32(group) + 3.5);
  let part = vec2i(place.part * 32767.0);
  let margin = call.margin;
  let latestAt = rowAt(call.state, latestPlane, y) + word;
  let isReached = place.cell.y >= margin && place.cell.y <= call.codes.height - 2 - margin
    && place.cell.x > -8 && place.cell.x < call.codes.width;
  if (!isReached) {
    state[latestAt] = 0u;
    return;
  }
  let bestAt = rowAt(call.state, bestPlane, y) + word;
  let valleyAt = rowAt(call.state, valleyPlane, y) + word;
  let secondAt = rowAt(call.state, secondPlane, y) + word;
  let ordinalAt = rowAt(call.state, bestOrdinalPlane, y) + word;
  let secondOrdinalAt = rowAt(call.state, secondOrdinalPlane, y) + word;
  let beforeAt = rowAt(call.state, beforePlane, y) + word;
  let afterAt = rowAt(call.state, afterPlane, y) + word;
  let tonesAt = rowAt(call.state, tonesPlane, y) + word;
  var latest = 0u;
  var changed = vec2<bool>(false, false);
  for (var k = 0; k < 2; k++) {
    let u = place.cell.x + x - group + k;
    if (u < margin || u > call.codes.width - 2 - margin) {
      continue;
    }
    let v = place.cell.y;
    let shift = 16u * u32(k);
    let keep = ~(0xffffu << shift);
    let code = between(codeAt(u, v), codeAt(u + 1, v), codeAt(u, v + 1), codeAt(u + 1, v + 1), part);
    let best = i32(u16Of(state[bestAt], k));
    let valley = i32(u16Of(state[valleyAt], k));
    let ordinalOfBest = i32(u16Of(state[ordinalAt], k));
    let isGreater = code > best;
    // A best that falls to a new one beyond a valley becomes the second peak, and so does a code that stays below it.
    let isDisplaced = isGreater && best - call.prominence > valley;
    let isRival = !isGreater && code - call.prominence > valley;
    var isHigher = false;
    if (ordinalOfBest < call.ordinal - 2 && (isDisplaced || isRival)) {
      let rising = select(code, best, isDisplaced);
      isHigher = rising > i32(u16Of(state[secondAt], k));
      if (isHigher) {
        state[secondAt] = (state[secondAt] & keep) | (u32(rising) << shift);
        let ordinal = select(call.ordinal, ordinalOfBest, isDisplaced);
        state[secondOrdinalAt] = (state[secondOrdinalAt] & keep) | (u32(ordinal) << shift);
      }
    }
    if (isGreater) {
      state[afterAt] &= keep;
      let before = u16Of(state[latestAt], k);
      state[beforeAt] = (state[beforeAt] & keep) | (before << shift);
      state[bestAt] = (state[bestAt] & keep) | (u32(code) << shift);
      state[ordinalAt] = (state[ordinalAt] & keep) | (u32(call.ordinal) << shift);
    } else if (ordinalOfBest == call.ordinal - 1) {
      state[afterAt] = (state[afterAt] & keep) | (u32(code) << shift);
    }
    if (isGreater || code < valley) {
      state[valleyAt] = (state[valleyAt] & keep) | (u32(code) << shift);
    }
    if (call.level == 0 && (isGreater || isHigher)) {
      let seen = u32(toneAt(u, v, part));
      let kept = u16Of(state[tonesAt], k);
      var ofSecond = kept & 0xff00u;
      if (isHigher) {
        ofSecond = select(seen, kept & 0xffu, isDisplaced) << 8u;
      }
      let tones = ofSecond | select(kept & 0xffu, seen, isGreater);
      state[tonesAt] = (state[tonesAt] & keep) | (tones << shift);
    }
    changed[k] = isGreater;
    latest |= u32(code) << shift;
  }
  if ((call.level == 1 || call.level == 2) && any(changed)) {
    noteTones(x, y, changed);
  }
  state[latestAt] = latest;
}

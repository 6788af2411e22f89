// One pass over the supports of contested pixels, with holes of `hole` pixels between its 3 x 3 taps, in the 15-bit numbers
// of aggregateStrip in kernels/assembly/labels.ts, where the formula is; divisions are of whole numbers here.
struct Call {
  band: Band,
  state: Set,
  coarse: Set,
  supports: Set,
  averaged: Set,
  count: i32,
  hole: i32,
  reach: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Level 1; any set where `count`, of levels, is 1.
@group(0) @binding(2) var<storage, read> coarse: array<u32>;
@group(0) @binding(3) var<storage, read> supports: array<u32>;
@group(0) @binding(4) var<storage, read_write> averaged: array<u32>;

// Sums of squared tones are held in sixteenths.
const squareShift = 4u;
// Supports times 64, so that a part of one is not lost; sums of them in sixteenths of that.
const supportShift = 6u;
const sumShift = 4u;

fn stateAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

/** Depth index of the best peak of level 1 at a pixel of level 0. */
fn coarseIndexAt(x: i32, y: i32) -> i32 {
  return i32(u16Of(coarse[rowAt(call.coarse, indexPlane, y >> 1u) + (x >> 2u)], x >> 1u));
}

/** What a pixel shows: depth index, tone and support of each of its candidates. */
struct Shown {
  indices: vec3i,
  tones: vec3i,
  supports: vec3i,
}

fn shownAt(x: i32, y: i32) -> Shown {
  let own = supports[rowAt(call.supports, 0, y) + x];
  let pair = stateAt(tonesPlane, x, y);
  let first = stateAt(indexPlane, x, y);
  var third = first;
  var tone = pair & 255;
  if (call.count > 1) {
    third = coarseIndexAt(x, y);
    tone = stateAt(coarseTonesPlane, x, y) & 255;
  }
  return Shown(
    vec3i(first, stateAt(secondIndexPlane, x, y), third),
    vec3i(pair & 255, pair >> 8u, tone),
    vec3i(supportAt(own, 0), supportAt(own, 1), supportAt(own, 2)),
  );
}

/** a b in Q15, rounded. */
fn product(a: vec3i, b: vec3i) -> vec3i {
  return (a * b + vec3i(0x4000)) >> vec3u(15u);
}

/** 1 (32766) at no distance, next to 0 from `reach` on: (1 - (d / reach)^2)^2 in Q15. inverse: 32767 / reach. */
fn likeness(distance: vec3i, reach: vec3i, inverse: vec3i) -> vec3i {
  let t = min(distance, reach) * inverse;
  let u = vec3i(32767) - product(t, t);
  return product(u, u);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let stored = supports[rowAt(call.supports, 0, y) + x];
  let at = rowAt(call.averaged, 0, y) + x;
  if ((stored & contestedBit) == 0u) {
    averaged[at] = stored;
    return;
  }
  let own = shownAt(x, y);
  let reach = vec3i(call.reach);
  let inverse = vec3i(32767 / call.reach);
  // By candidate of this pixel: sums of taps, and of each tap its support and difference of tone.
  var sum = 0;
  var apartSum = vec3i(0);
  var squareSum = vec3i(0);
  var seen: array<vec3i, 9>;
  var aparts: array<vec3i, 9>;
  var weights: array<i32, 9>;
  for (var k = 0; k < 9; k++) {
    let i = k % 3 - 1;
    let j = k / 3 - 1;
    let u = x + i * call.hole;
    let v = y + j * call.hole;
    weights[k] = 0;
    if (u < 0 || v < 0 || u >= call.state.width || v >= call.state.height) {
      continue;
    }
    let there = shownAt(u, v);
    // Taps of [1 2 1] x [1 2 1].
    let weight = select(1, 2, i == 0) * select(1, 2, j == 0);
    var support: vec3i;
    var tone: vec3i;
    for (var n = 0; n < 3; n++) {
      if (own.supports[n] == 0) {
        continue;
      }
      let distance = abs(there.indices - vec3i(own.indices[n]));
      let isAlike = (there.supports > vec3i(0)) & (distance < reach);
      let alike = select(vec3i(0), likeness(distance, reach, inverse), isAlike);
      let parts = product(alike, there.supports << vec3u(supportShift));
      support[n] = parts.x + parts.y + parts.z;
      var shown = select(there.tones.z, there.tones.x, alike.x > 0);
      shown = select(shown, there.tones.y, alike.y > alike.x);
      tone[n] = select(shown, there.tones.z, alike.z > max(alike.x, alike.y));
    }
    let apart = tone - own.tones;
    seen[k] = support;
    aparts[k] = abs(apart);
    weights[k] = weight;
    sum += weight;
    apartSum += weight * apart;
    squareSum += weight * ((apart * apart + vec3i(1 << (squareShift - 1u))) >> vec3u(squareShift));
  }
  let mean = vec3f(apartSum) / f32(sum);
  let square = vec3f(squareSum) * f32(1 << squareShift) / f32(sum);
  let variance = max(vec3f(0.0), square - mean * mean);
  let spread = vec3f(toneNoise * toneNoise) + tonePart * tonePart * variance;
  let farthest = vec3i(sqrt(spread));
  let perTone = vec3i(32767) / farthest;
  var total = vec3i(0);
  var likenesses = vec3i(0);
  for (var k = 0; k < 9; k++) {
    let alike = likeness(aparts[k], farthest, perTone);
    total += weights[k] * (product(alike, seen[k]) >> vec3u(sumShift));
    likenesses += weights[k] * (alike >> vec3u(sumShift));
  }
  // Totals are in 1/64 of a support, likenesses in Q15, both in sixteenths: the ratio times 512 is the mean, here rounded.
  let means = (1024 * total + likenesses) / (2 * max(likenesses, vec3i(1)));
  let kept = select(vec3i(0), clamp(means, vec3i(1), vec3i(maxKeptSupport)), own.supports > vec3i(0));
  averaged[at] = contestedBit | u32(kept.x | (kept.y << 8u) | (kept.z << 16u));
}

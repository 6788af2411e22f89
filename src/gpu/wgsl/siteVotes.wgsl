// What places of a level show of which side of a depth edge is near, three words a place: the number of pixels well within the
// side of the lower ordinal (low half) and of those the number that show the other side's detail as well (high half), the
// same of the other side, and the number of clear pixels of the window and those of both sides among them. A group of threads takes one place; the rows of the band are 16 a place.
// Beside it: `siteVotes` of focus/site-votes.ts, where the rule is.
struct Call {
  band: Band,
  state: Set,
  full: Set,
  level: i32,
  frames: i32,
  apart: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Level 0, for the tones.
@group(0) @binding(2) var<storage, read> full: array<u32>;
// Codes that noise alone reaches, by brightness.
@group(0) @binding(3) var<storage, read> noise: array<f32>;
// Pixels of the level: column in the low half, row in the high half.
@group(0) @binding(4) var<storage, read> places: array<u32>;
@group(0) @binding(5) var<storage, read_write> votes: array<u32>;

const radius = siteRadius + averageRadius;
const side = 2 * radius + 1;
const threads = 256;

// Ordinals of clear peaks about the place, 0 = none.
var<workgroup> labels: array<i32, side * side>;
// Number of pixels of the window by ordinal; those that lie so many frames apart share a bin.
const bins = 2048;
var<workgroup> counts: array<atomic<i32>, bins>;
var<workgroup> clear: atomic<i32>;
// Number of pixels within a frame of an ordinal, in the high half, and the ordinal from the last one back.
var<workgroup> frequent: array<atomic<u32>, 2>;
// Which pixels lie well within the sides: 1 + the index of the side, 0 = within none.
var<workgroup> sideOf: array<i32, side * side>;
var<workgroup> within: array<atomic<i32>, 2>;
// Of their measures.
var<workgroup> sums: array<atomic<i32>, 2>;
var<workgroup> showingCounts: array<atomic<u32>, 2>;

fn stateAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

fn noiseAt(x: i32, y: i32) -> f32 {
  let column = min(call.full.width - 1, x << u32(call.level));
  let row = min(call.full.height - 1, y << u32(call.level));
  return noise[(u16Of(full[rowAt(call.full, tonesPlane, row) + (column >> 1u)], column) & 0xffu) >> 5u];
}

/** Ordinal of a pixel's best frame, 0 where it is not clear. */
fn labelAt(x: i32, y: i32) -> i32 {
  let isClear = f32(stateAt(bestPlane, x, y)) > noiseAt(x, y) + clearOctaves * codesPerOctave;
  return select(0, stateAt(bestOrdinalPlane, x, y), isClear);
}

fn isInner(i: i32) -> bool {
  let column = i % side;
  let row = i / side;
  return column >= averageRadius && column < side - averageRadius && row >= averageRadius && row < side - averageRadius;
}

fn isNear(label: i32, ordinal: i32) -> bool {
  return label != 0 && abs(label - ordinal) <= sideFrames;
}

/** Pixels of the window that are sharp within a frame of an ordinal. */
fn countNear(ordinal: i32) -> i32 {
  var count = 0;
  for (var k = ordinal - sideFrames; k <= ordinal + sideFrames; k++) {
    count += atomicLoad(&counts[k & (bins - 1)]);
  }
  return count;
}

/** Whether what lies `averageRadius` away all round is of the same side. */
fn isInside(i: i32, ordinal: i32) -> bool {
  for (var k = 0; k < 9; k++) {
    let label = labels[i + (k / 3 - 1) * averageRadius * side + (k % 3 - 1) * averageRadius];
    if (label == 0 || abs(label - ordinal) > 2 * sideFrames) {
      return false;
    }
  }
  return true;
}

/** Notes for each ordinal about a clear pixel's, of those `away` and more from `first`, how many pixels it has. */
fn noteFrequent(index: i32, n: i32, first: i32, away: i32) {
  for (var i = index; i < side * side; i += threads) {
    let label = labels[i];
    if (label == 0 || !isInner(i)) {
      continue;
    }
    for (var ordinal = max(1, label - sideFrames); ordinal <= min(call.frames, label + sideFrames); ordinal++) {
      if (abs(ordinal - first) >= away) {
        atomicMax(&frequent[n], (u32(countNear(ordinal)) << 16u) | u32(0xffff - ordinal));
      }
    }
  }
}

/** The ordinal that most pixels are sharp at, the lowest of several; 0 = none. */
fn mostFrequent(n: i32) -> i32 {
  let found = atomicLoad(&frequent[n]);
  return select(0, 0xffff - i32(found & 0xffffu), found != 0u);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(workgroup_id) group: vec3u, @builtin(local_invocation_index) thread: u32) {
  let index = i32(thread);
  let place = call.band.fromRow / 16 + i32(group.y);
  let x = i32(places[place] & 0xffffu);
  let y = i32(places[place] >> 16u);
  if (index < 2) {
    atomicStore(&frequent[index], 0u);
    atomicStore(&showingCounts[index], 0u);
    atomicStore(&within[index], 0);
    atomicStore(&sums[index], 0);
  }
  if (index == 0) {
    atomicStore(&clear, 0);
  }
  for (var i = index; i < bins; i += threads) {
    atomicStore(&counts[i], 0);
  }
  workgroupBarrier();
  for (var i = index; i < side * side; i += threads) {
    let label = labelAt(x + i % side - radius, y + i / side - radius);
    labels[i] = label;
    if (label != 0 && isInner(i)) {
      atomicAdd(&clear, 1);
      atomicAdd(&counts[label & (bins - 1)], 1);
    }
  }
  workgroupBarrier();
  noteFrequent(index, 0, -call.apart, 0);
  workgroupBarrier();
  let first = mostFrequent(0);
  noteFrequent(index, 1, first, call.apart);
  workgroupBarrier();
  let other = mostFrequent(1);
  let ordinals = vec2i(first, other);
  for (var i = index; i < side * side; i += threads) {
    let n = select(0, 1, isNear(labels[i], other));
    let isWithin = other != 0 && isInner(i) && isNear(labels[i], ordinals[n]) && isInside(i, ordinals[n]);
    sideOf[i] = select(0, 1 + n, isWithin);
    if (isWithin) {
      atomicAdd(&within[n], 1);
      atomicAdd(&sums[n], stateAt(bestPlane, x + i % side - radius, y + i / side - radius));
    }
  }
  workgroupBarrier();
  let counted = vec2i(atomicLoad(&within[0]), atomicLoad(&within[1]));
  let usual = vec2i(atomicLoad(&sums[0]), atomicLoad(&sums[1])) / max(counted, vec2i(1));
  for (var i = index; i < side * side; i += threads) {
    if (sideOf[i] == 0) {
      continue;
    }
    let u = x + i % side - radius;
    let v = y + i / side - radius;
    let n = sideOf[i] - 1;
    let second = stateAt(secondPlane, u, v);
    let overNoise = minPeakOctaves * codesPerOctave + f32(max(0, usual[1 - n] - usual[n]));
    if (
      isNear(stateAt(secondOrdinalPlane, u, v), ordinals[1 - n]) && second >= usual[1 - n] - faintCodes &&
      f32(second) > noiseAt(u, v) + overNoise
    ) {
      atomicAdd(&showingCounts[n], 1u);
    }
  }
  workgroupBarrier();
  if (index < 2) {
    // The side of the lower ordinal first.
    let at = select(1 - index, index, first < other);
    votes[3 * place + at] = pairOf(u32(counted[index]), atomicLoad(&showingCounts[index]));
  }
  if (index == 2) {
    votes[3 * place + 2] = pairOf(u32(atomicLoad(&clear)), u32(countNear(first) + countNear(other)));
  }
}

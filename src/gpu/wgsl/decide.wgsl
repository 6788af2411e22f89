// Near or behind at depth edges: the depth index of the surface that each pixel belongs to, 16 bits. Above the supports: what tones
// say for it, see kernels/assembly/candidates.ts. One thread a pair of pixels; the labels about a workgroup's pixels are kept in its
// memory. Beside it: decideStrip of kernels/assembly/decide.ts, where the formulas are.
struct Call {
  band: Band,
  state: Set,
  level1: Set,
  level2: Set,
  labels: Set,
  supports: Set,
  decided: Set,
  levels: i32,
  nearSign: i32,
  same: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Any set for those that are not among the `levels`.
@group(0) @binding(2) var<storage, read> level1: array<u32>;
@group(0) @binding(3) var<storage, read> level2: array<u32>;
@group(0) @binding(4) var<storage, read> labels: array<u32>;
@group(0) @binding(5) var<storage, read_write> supports: array<u32>;
@group(0) @binding(6) var<storage, read_write> decided: array<u32>;

const wide = 3;
const tileWidth = 32 + 2 * backRadius;
const tileHeight = 16 + 2 * backRadius;

var<workgroup> tile: array<i32, tileWidth * tileHeight>;
var<workgroup> lowest: atomic<i32>;
var<workgroup> highest: atomic<i32>;

fn level0At(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

/** Of levels 1 and 2, at a pixel of level 0. */
fn level1At(plane: i32, x: i32, y: i32) -> i32 {
  let column = x >> 1u;
  return i32(u16Of(level1[rowAt(call.level1, plane, y >> 1u) + (column >> 1u)], column));
}

fn level2At(plane: i32, x: i32, y: i32) -> i32 {
  let column = x >> 2u;
  return i32(u16Of(level2[rowAt(call.level2, plane, y >> 2u) + (column >> 1u)], column));
}

/** Depth index of a candidate of a pixel. */
fn indexAt(candidate: i32, x: i32, y: i32) -> i32 {
  switch (candidate) {
    case 0: {
      return level0At(indexPlane, x, y);
    }
    case 1: {
      return level0At(secondIndexPlane, x, y);
    }
    case 2: {
      return level1At(indexPlane, x, y);
    }
    default: {
      return level2At(indexPlane, x, y);
    }
  }
}

/** Tone of a candidate in the frame in which it is sharp. */
fn toneAt(candidate: i32, x: i32, y: i32) -> i32 {
  let pair = level0At(select(coarseTonesPlane, tonesPlane, candidate < 2), x, y);
  return select(pair & 255, pair >> 8u, (candidate & 1) != 0);
}

/** Columns and rows from a pixel that lie in the picture, within a radius. */
struct Reach {
  left: i32,
  right: i32,
  top: i32,
  bottom: i32,
}

fn reachOf(x: i32, y: i32, radius: i32) -> Reach {
  return Reach(
    max(-radius, -x),
    min(radius, call.state.width - 1 - x),
    max(-radius, -y),
    min(radius, call.state.height - 1 - y),
  );
}

/** Whether a label within `radius` pixels, in rows and columns, is that of a depth index. at: of the pixel in the tile. */
fn isNamed(at: i32, x: i32, y: i32, depthIndex: i32, radius: i32) -> bool {
  let reach = reachOf(x, y, radius);
  for (var j = reach.top; j <= reach.bottom; j++) {
    for (var i = reach.left; i <= reach.right; i++) {
      if (abs(tile[at + j * tileWidth + i] - depthIndex) < call.same) {
        return true;
      }
    }
  }
  return false;
}

/** Sums over the pixels around that have a peak of the near surface: of tones, less 128, in its frame; and over those behind it. */
struct Tones {
  count: i32,
  sum: i32,
  squares: i32,
  cubes: i32,
  backCount: i32,
  backSum: i32,
  backSquares: i32,
}

fn nearTones(at: i32, x: i32, y: i32, near: i32, front: i32, radius: i32) -> Tones {
  var tones: Tones;
  let reach = reachOf(x, y, radius);
  for (var j = reach.top; j <= reach.bottom; j++) {
    for (var i = reach.left; i <= reach.right; i++) {
      var shown = -1;
      for (var n = 0; n <= wide && shown < 0; n++) {
        if ((n == 2 && call.levels < 2) || (n == wide && near != wide)) {
          continue;
        }
        if (abs(indexAt(n, x + i, y + j) - front) < call.same) {
          shown = n;
        }
      }
      if (shown < 0) {
        continue;
      }
      let tone = toneAt(shown, x + i, y + j) - 128;
      tones.count++;
      tones.sum += tone;
      tones.squares += tone * tone;
      tones.cubes += tone * tone * tone;
      let label = tile[at + j * tileWidth + i];
      if (label == 0 || (label - front) * call.nearSign > call.same) {
        tones.backCount++;
        tones.backSum += tone;
        tones.backSquares += tone * tone;
      }
    }
  }
  return tones;
}

/** Whether so many pixels about a pixel are no fewer than the measure's window has, beside borders in proportion. */
fn fillsWindow(count: i32, x: i32, y: i32) -> bool {
  let reach = reachOf(x, y, shareRadius);
  let inside = (reach.right - reach.left + 1) * (reach.bottom - reach.top + 1);
  return count * (2 * shareRadius + 1) * (2 * shareRadius + 1) >= thinPixels * inside;
}

/** How clearly the near surface has more than half of a pixel. own: its tone. around: mean tone of what is labelled behind. */
fn clearShare(own: i32, around: f32, tones: Tones) -> f32 {
  let n = f32(tones.count);
  let sum = f32(tones.sum);
  let squares = f32(tones.squares);
  var ground = sum / n;
  var texture = 0.0;
  if (tones.backCount > 0) {
    ground = f32(tones.backSum) / f32(tones.backCount);
    texture = max(0.0, f32(tones.backSquares) / f32(tones.backCount) - ground * ground);
  }
  let weight = squares - ground * (2.0 * sum - n * ground);
  if (weight < n) {
    return 0.0;
  }
  let contrast = (f32(tones.cubes) - ground * (3.0 * squares - ground * (3.0 * sum - n * ground))) / weight;
  if (abs(contrast) < 0.5) {
    return 0.0;
  }
  let alpha = (f32(own) - 128.0 - ground) / contrast;
  let clarity = abs(contrast) / sqrt(texture + toneNoise * toneNoise);
  let alike = clamp(2.0 - (4.0 * (around - 128.0 - ground)) / contrast, 0.0, 1.0);
  return (clamp(alpha, -0.5, 1.5) - 0.5) * clarity * alike;
}

/** The depth index that a pixel belongs to: near surface, or what is behind it, or its own label where nothing is to be decided. */
fn decideIndex(at: i32, x: i32, y: i32) -> i32 {
  let label = tile[at];
  let word = rowAt(call.supports, 0, y) + x;
  let own = supports[word];
  let ofCandidates = vec3i(supportAt(own, 0), supportAt(own, 1), supportAt(own, 2));
  if (all(ofCandidates == vec3i(0))) {
    return label;
  }
  let indices = vec3i(
    indexAt(0, x, y),
    indexAt(1, x, y),
    select(0, level1At(indexPlane, x, y), call.levels > 1),
  );
  let same = call.same;
  let nearSign = call.nearSign;
  // The nearest candidate whose detail shows in the whole window of the measure about it; where none is sure, labels around must be
  // of it as well.
  let isSure = max(max(ofCandidates.x, ofCandidates.y), ofCandidates.z) >= sureSupport;
  var near = -1;
  var front = 0;
  var tones: Tones;
  var tried = vec3<bool>(false, false, false);
  for (var round = 0; round < 3; round++) {
    var next = -1;
    for (var n = 0; n < 3; n++) {
      if (tried[n] || ofCandidates[n] == 0 || (next >= 0 && (indices[n] - front) * nearSign >= 0)) {
        continue;
      }
      next = n;
      front = indices[n];
    }
    if (next < 0) {
      break;
    }
    tried[next] = true;
    if (!isSure && abs(label - front) >= same && !isNamed(at, x, y, front, windowRadius)) {
      continue;
    }
    tones = nearTones(at, x, y, next, front, shareRadius);
    if (fillsWindow(tones.count, x, y)) {
      near = next;
      break;
    }
  }
  var nearSupport = 0;
  if (near >= 0) {
    nearSupport = ofCandidates[near];
  }
  if (call.levels > 2 && (level2At(weightPlane, x, y) & leakBit) == 0) {
    // Smooth ground before something detailed: only a wide window shows it.
    let depthIndex = level2At(indexPlane, x, y);
    let support = supportOf(level2At(risePlane, x, y));
    let isNearest = near < 0 || (depthIndex - front) * nearSign < 0;
    if (
      support > 0 && isNearest && label != 0 && (label - depthIndex) * nearSign >= same &&
      isNamed(at, x, y, depthIndex, backRadius)
    ) {
      near = wide;
      front = depthIndex;
      nearSupport = support;
      tones = nearTones(at, x, y, near, front, backRadius);
    }
  }
  if (near < 0) {
    return label;
  }

  // What is behind, and its tones, over some rows of a disc.
  let reach = reachOf(x, y, backRadius);
  var behind = 0;
  var sum = 0;
  var least = 0xffff;
  var most = 0;
  var nearest = 0x7fff;
  var nearestApart = 0xffff;
  var nearestLabel = 0;
  for (var j = backRadius % discRows - backRadius; j <= backRadius; j += discRows) {
    if (j < reach.top || j > reach.bottom) {
      continue;
    }
    let half = i32(sqrt(f32(backRadius * backRadius - j * j)));
    for (var i = max(-half, reach.left); i <= min(half, reach.right); i++) {
      let there = tile[at + j * tileWidth + i];
      least = min(least, there);
      most = max(most, there);
      let beyond = (there - front) * nearSign;
      if (there == 0 || beyond > same) {
        behind++;
        sum += toneAt(select(0, 2, call.levels > 1), x + i, y + j);
        // Of equally distant pixels a known label counts first, then the one nearest to the front.
        let away = i * i + j * j;
        let apart = select(beyond, 0xffff, there == 0);
        if (away < nearest || (away == nearest && apart < nearestApart)) {
          nearest = away;
          nearestApart = apart;
          nearestLabel = there;
        }
      }
    }
  }
  if (behind == 0 || most - least <= same) {
    return label;
  }
  var back = -1;
  var backSupport = 0;
  for (var n = 0; n < 3; n++) {
    let support = ofCandidates[n];
    if (support == 0 || n == near) {
      continue;
    }
    let depthIndex = indices[n];
    if (abs(depthIndex - front) < same) {
      nearSupport += support;
    } else if ((depthIndex - front) * nearSign > same && support > backSupport) {
      back = depthIndex;
      backSupport = support;
    }
  }
  if (back < 0) {
    back = nearestLabel;
  }
  var odds = lnOf(f32(nearSupport + 1)) - lnOf(f32(backSupport + 1));
  if (tones.count > 0) {
    let mean = f32(sum) / f32(behind);
    let ofTone = alphaOdds * clearShare(toneAt(near, x, y), mean, tones) * (f32(behind) / discPixels);
    odds += ofTone;
    if (odds > 0.0) {
      let steps = clamp(i32(floor(ofTone * f32(supportSteps) + 0.5)), -maxToneOdds, maxToneOdds);
      supports[word] = (own & 0xffffffu) | (u32(maxToneOdds + 1 + steps) << 24u);
    }
  }
  if (odds > 0.0) {
    return select(front, label, abs(label - front) < same);
  }
  return select(back, label, label != 0 && abs(label - back) <= same && (label - front) * nearSign > same);
}

@compute @workgroup_size(16, 16)
fn main(
  @builtin(global_invocation_id) id: vec3u,
  @builtin(local_invocation_id) local: vec3u,
  @builtin(local_invocation_index) index: u32,
) {
  if (index == 0u) {
    atomicStore(&lowest, 0xffff);
    atomicStore(&highest, 0);
  }
  workgroupBarrier();
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  let left = x - 2 * i32(local.x) - backRadius;
  let top = y - i32(local.y) - backRadius;
  var least = 0xffff;
  var most = 0;
  for (var i = i32(index); i < tileWidth * tileHeight; i += 256) {
    let u = left + i % tileWidth;
    let v = top + i / tileWidth;
    if (u < 0 || v < 0 || u >= call.state.width || v >= call.state.height) {
      continue;
    }
    let label = i32(labels[rowAt(call.labels, 0, v) + u]);
    tile[i] = label;
    least = min(least, label);
    most = max(most, label);
  }
  atomicMin(&lowest, least);
  atomicMax(&highest, most);
  workgroupBarrier();
  if (isOutside(call.band, id)) {
    return;
  }
  // Where all labels around are of one surface nothing is to be decided.
  let isEdge = call.nearSign != 0 && atomicLoad(&highest) - atomicLoad(&lowest) > call.same;
  let at = (i32(local.y) + backRadius) * tileWidth + 2 * i32(local.x) + backRadius;
  var pair = 0u;
  for (var i = 0; i < 2 && x + i < call.state.width; i++) {
    var index = tile[at + i];
    if (isEdge) {
      index = decideIndex(at + i, x + i, y);
    }
    pair |= u32(index) << (16u * u32(i));
  }
  decided[rowAt(call.decided, 0, y) + i32(id.x)] = pair;
}

// Near or behind at depth edges, and the depth index and certainty of each pixel's surface. Takes the place of the supports:
// depth index in the low half of a word, weight in the high half. In level 0's planes: 9 and 10 as decideStrip leaves them,
// and 0 and 1 the peak that the surface goes through. One thread a pair of pixels; the labels about a workgroup's pixels are
// kept in its memory. Beside it: decideStrip of kernels/assembly/decide.ts, where the formulas are.
struct Call {
  band: Band,
  state: Set,
  level1: Set,
  level2: Set,
  level3: Set,
  labels: Set,
  surface: Set,
  levels: i32,
  frames: i32,
  nearSign: i32,
  same: i32,
  refined: f32,
  fractionBits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> state: array<u32>;
// Any set for those that are not among the `levels`.
@group(0) @binding(2) var<storage, read> level1: array<u32>;
@group(0) @binding(3) var<storage, read> level2: array<u32>;
@group(0) @binding(4) var<storage, read> level3: array<u32>;
@group(0) @binding(5) var<storage, read> labels: array<u32>;
@group(0) @binding(6) var<storage, read_write> surface: array<u32>;
// Number of pixels whose surface has any weight.
@group(0) @binding(7) var<storage, read_write> known: array<atomic<u32>>;

const wide = 3;
const tileWidth = 32 + 2 * backRadius;
const tileHeight = 16 + 2 * backRadius;

var<workgroup> tile: array<u32, tileWidth * tileHeight>;
var<workgroup> lowest: atomic<i32>;
var<workgroup> highest: atomic<i32>;
var<workgroup> found: atomic<u32>;

fn level0At(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

/** Of a level, at a pixel of level 0. */
fn levelAt(level: i32, plane: i32, x: i32, y: i32) -> i32 {
  let column = x >> u32(level);
  let row = y >> u32(level);
  let word = column >> 1u;
  switch (level) {
    case 1: {
      return i32(u16Of(level1[rowAt(call.level1, plane, row) + word], column));
    }
    case 2: {
      return i32(u16Of(level2[rowAt(call.level2, plane, row) + word], column));
    }
    case 3: {
      return i32(u16Of(level3[rowAt(call.level3, plane, row) + word], column));
    }
    default: {
      return i32(u16Of(state[rowAt(call.state, plane, row) + word], column));
    }
  }
}

/** Candidates of a pixel, the last one of level 2: depth index, support (of the last not averaged) and tone. */
struct Candidates {
  indices: vec4i,
  supports: vec4i,
  tones: vec4i,
}

/** Best peaks of all levels at a pixel. */
struct Peaks {
  rises: vec4i,
  indices: vec4i,
  weights: vec4i,
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
      if (abs(i32(tile[at + j * tileWidth + i] & 0xffffu) - depthIndex) < call.same) {
        return true;
      }
    }
  }
  return false;
}

/** The depth index that a pixel belongs to: near surface, or what is behind it, or its own label where nothing is to be decided. */
fn decideIndex(at: i32, x: i32, y: i32, candidates: Candidates) -> i32 {
  let label = i32(tile[at] & 0xffffu);
  if (all(candidates.supports.xyz == vec3i(0))) {
    return label;
  }
  let same = call.same;
  let nearSign = call.nearSign;
  var near = -1;
  var front = 0;
  for (var n = 0; n <= wide; n++) {
    let depthIndex = candidates.indices[n];
    if (candidates.supports[n] == 0 || (near >= 0 && (depthIndex - front) * nearSign >= 0)) {
      continue;
    }
    // Smooth ground before something detailed: only a wide window shows it.
    if (n == wide && (label == 0 || (label - depthIndex) * nearSign < same)) {
      continue;
    }
    let radius = select(windowRadius, backRadius, n == wide);
    if (abs(label - depthIndex) >= same && !isNamed(at, x, y, depthIndex, radius)) {
      continue;
    }
    near = n;
    front = depthIndex;
  }
  if (near < 0) {
    return label;
  }

  // Tones of what is behind, and the extremes of those of the front, over some rows of a disc.
  let reach = reachOf(x, y, backRadius);
  var behind = 0;
  var sum = 0;
  var squares = 0;
  var darkest = 255;
  var brightest = 0;
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
      let word = tile[at + j * tileWidth + i];
      let there = i32(word & 0xffffu);
      least = min(least, there);
      most = max(most, there);
      let beyond = (there - front) * nearSign;
      if (abs(there - front) < same) {
        let tone = i32((word >> 16u) & 255u);
        darkest = min(darkest, tone);
        brightest = max(brightest, tone);
      }
      if (there == 0 || beyond > call.same) {
        let tone = i32(word >> 24u);
        behind++;
        sum += tone;
        squares += tone * tone;
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
  if (behind == 0 || most - least <= call.same) {
    return label;
  }
  let mean = f32(sum) / f32(behind);
  let texture = max(0.0, f32(squares) / f32(behind) - mean * mean);
  // The front's own tone is the one that differs most from what is behind: the others are mixtures.
  var contrast = 0.0;
  if (darkest <= brightest) {
    let above = f32(brightest) - mean;
    let below = f32(darkest) - mean;
    contrast = select(below, above, above > -below);
  }
  var back = -1;
  var backSupport = 0;
  var nearSupport = candidates.supports[near];
  for (var n = 0; n < 3; n++) {
    let support = candidates.supports[n];
    if (support == 0 || n == near) {
      continue;
    }
    let depthIndex = candidates.indices[n];
    if (abs(depthIndex - front) < same) {
      nearSupport += support;
    } else if ((depthIndex - front) * nearSign > call.same && support > backSupport) {
      back = depthIndex;
      backSupport = support;
    }
  }
  if (back < 0) {
    back = nearestLabel;
  }
  var odds = lnOf(f32(nearSupport + 1)) - lnOf(f32(backSupport + 1));
  if (contrast != 0.0) {
    let alpha = (f32(candidates.tones[near]) - mean) / contrast;
    let clarity = abs(contrast) / sqrt(texture + toneNoise * toneNoise);
    odds += alphaOdds * (clamp(alpha, -0.5, 1.5) - 0.5) * clarity * (f32(behind) / discPixels);
  }
  if (odds > 0.0) {
    return select(front, label, abs(label - front) < same);
  }
  return select(back, label, label != 0 && abs(label - back) <= call.same && (label - front) * nearSign > same);
}

/** How sure it is that a pixel shows its surface, 0 to 255. own, other: supports, octaves. */
fn certaintyOf(own: f32, other: f32) -> i32 {
  let support = lnOf(own + minCompared);
  let odds = certaintyOdds + certaintyOfSupport * support + certaintyOfLead * (support - lnOf(other + minCompared));
  let ratio = powerOfTwo(abs(odds) * 1.442695);
  return i32((select(1.0, ratio, odds > 0.0) * 255.0) / (ratio + 1.0) + 0.5);
}

/** What is stored of a pixel. */
struct Decided {
  index: i32,
  weight: i32,
  mark: i32,
  certainty: i32,
  rise: i32,
  peak: i32,
  // In the frame in which its surface is sharp; 0 where it is not known which end is near.
  tone: u32,
}

fn decidedOf(at: i32, x: i32, y: i32, isEdge: bool) -> Decided {
  var peaks: Peaks;
  for (var level = 0; level < call.levels; level++) {
    peaks.rises[level] = levelAt(level, risePlane, x, y);
    peaks.indices[level] = levelAt(level, indexPlane, x, y);
    peaks.weights[level] = levelAt(level, weightPlane, x, y);
  }
  let second = level0At(secondIndexPlane, x, y);
  let secondRise = level0At(secondRisePlane, x, y);
  let pair = level0At(tonesPlane, x, y);
  let coarsePair = level0At(coarseTonesPlane, x, y);
  let own = surface[rowAt(call.surface, 0, y) + x];
  let isWide = (peaks.weights.z & leakBit) == 0;
  let candidates = Candidates(
    vec4i(peaks.indices.x, second, peaks.indices.y, peaks.indices.z),
    vec4i(supportAt(own, 0), supportAt(own, 1), supportAt(own, 2), select(0, supportOf(peaks.rises.z), isWide)),
    vec4i(pair & 255, pair >> 8u, coarsePair & 255, coarsePair >> 8u),
  );
  let label = i32(tile[at] & 0xffffu);
  var decided = label;
  if (isEdge) {
    decided = decideIndex(at, x, y, candidates);
  }
  var tone = select(0u, (tile[at] >> 16u) & 255u, call.nearSign != 0);
  if (decided != label) {
    for (var n = 2; n >= 0; n--) {
      if (candidates.supports[n] != 0 && abs(candidates.indices[n] - decided) < call.same) {
        tone = u32(candidates.tones[n]);
      }
    }
  }
  if (decided == 0) {
    return Decided(0, 0, 0, 0, peaks.rises.x, peaks.indices.x, tone);
  }
  var sum = 0.0;
  var indexSum = 0.0;
  var mark = 0;
  var coarseRise = 0.0;
  var ownSupport = 0;
  var otherSupport = 0;
  var fineSupport = 0;
  var isLeak = false;
  for (var n = 0; n < 3; n++) {
    let support = candidates.supports[n];
    if (support == 0) {
      continue;
    }
    if (abs(candidates.indices[n] - decided) < call.same) {
      ownSupport += support;
      if (n < 2) {
        fineSupport = max(fineSupport, supportOf(select(secondRise, peaks.rises.x, n == 0)));
      }
    } else {
      otherSupport = max(otherSupport, support);
    }
  }
  for (var level = 0; level < call.levels; level++) {
    let rise = peaks.rises[level];
    if (f32(rise) < minPeakOctaves * codesPerOctave) {
      continue;
    }
    let best = peaks.indices[level];
    if (f32(abs(best - decided)) >= call.refined) {
      continue;
    }
    let marked = peaks.weights[level];
    let stored = marked & ~leakBit;
    let isFirst = sum == 0.0;
    if (marked != stored) {
      // What level 1 shows of something beside is no support: that of level 0 is left.
      if (level == 1) {
        ownSupport = min(ownSupport, fineSupport);
      }
      isLeak = true;
    }
    if (isFirst) {
      if (stored == gapBit) {
        mark = truncatedCurve;
        break;
      }
      mark = stored & gapBit;
      if (level > 1 && marked == stored) {
        coarseRise = f32(rise) / codesPerOctave - minPeakOctaves;
      }
    }
    let weight = f32(stored & ~gapBit) * select(coarserShare, 1.0, isFirst);
    var depthIndex = depthIndexAt(u32(best), call.fractionBits);
    // Far beyond an end the curve falls slowly: without fine detail its slope says less than its direction.
    if (isFirst && level > 1) {
      if (depthIndex < 1.0) {
        depthIndex = min(depthIndex, 0.0);
      }
      if (depthIndex > f32(call.frames)) {
        depthIndex = max(depthIndex, f32(call.frames + 1));
      }
    }
    sum += weight;
    indexSum += weight * depthIndex;
  }
  if (mark == 0 && isLeak && ownSupport < sureSupport && coarseRise == 0.0) {
    mark = leakedPeak;
  }
  if (sum == 0.0 && mark == 0) {
    // A second peak, or a depth index taken over from neighbours.
    sum = wholeFrameWeight * weightUnit;
    indexSum = sum * depthIndexAt(u32(decided), call.fractionBits);
  }
  if (sum <= 0.0) {
    return Decided(0, 0, mark, 0, peaks.rises.x, peaks.indices.x, tone);
  }
  let certainty = certaintyOf(
    max(f32(ownSupport) / f32(supportSteps), coarseRise),
    f32(otherSupport) / f32(supportSteps),
  );
  let depthIndex = i32(depthIndexCode(indexSum / sum, call.fractionBits));
  var rise = peaks.rises.x;
  var peak = peaks.indices.x;
  if (abs(peak - depthIndex) >= call.same) {
    let isSecond = second != 0 && abs(second - depthIndex) < call.same;
    rise = select(0, secondRise, isSecond);
    peak = select(depthIndex, second, isSecond);
  }
  // What is hardly sure must not lead its neighbours.
  let sure = f32(certainty) / 255.0;
  let weight = sum * (sure * sure * sure);
  return Decided(depthIndex, min(32767, i32(weight + 0.5)), mark, certainty, rise, peak, tone);
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
    atomicStore(&found, 0u);
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
    let word = labels[rowAt(call.labels, 0, v) + u];
    tile[i] = word;
    least = min(least, i32(word & 0xffffu));
    most = max(most, i32(word & 0xffffu));
  }
  atomicMin(&lowest, least);
  atomicMax(&highest, most);
  workgroupBarrier();
  // Where all labels around are of one surface nothing is to be decided.
  let isEdge = call.nearSign != 0 && atomicLoad(&highest) - atomicLoad(&lowest) > call.same;
  if (!isOutside(call.band, id)) {
    let at = (i32(local.y) + backRadius) * tileWidth + 2 * i32(local.x) + backRadius;
    var words: array<u32, 4>;
    for (var i = 0; i < 2 && x + i < call.state.width; i++) {
      let decided = decidedOf(at + i, x + i, y, isEdge);
      surface[rowAt(call.surface, 0, y) + x + i] = pairOf(u32(decided.index), u32(decided.weight));
      let half = 16u * u32(i);
      words[0] |= u32(decided.rise) << half;
      words[1] |= u32(decided.peak) << half;
      words[2] |= u32(decided.mark) << half;
      words[3] |= (u32(decided.certainty) | (decided.tone << 8u)) << half;
      if (decided.weight > 0) {
        atomicAdd(&found, 1u);
      }
    }
    let row = rowAt(call.state, 0, y) + i32(id.x);
    let plane = call.state.planeWords;
    state[row + risePlane * plane] = words[0];
    state[row + indexPlane * plane] = words[1];
    state[row + tonesPlane * plane] = words[2];
    state[row + coarseTonesPlane * plane] = words[3];
  }
  workgroupBarrier();
  if (index == 0u) {
    atomicAdd(&known[0], atomicLoad(&found));
  }
}

// Depth index and certainty of the surface that was decided on. Takes the place of the supports: depth index in the low half of a
// word, weight in the high half. In level 0's planes: 9 and 10 as storeSurfaceStrip leaves them, and 0 and 1 the peak that the
// surface goes through. One thread a pair of pixels. Beside it: storeSurfaceStrip of kernels/assembly/store-surface.ts, where the
// formulas are.
struct Call {
  band: Band,
  state: Set,
  level1: Set,
  level2: Set,
  level3: Set,
  decided: Set,
  surface: Set,
  levels: i32,
  frames: i32,
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
@group(0) @binding(5) var<storage, read> decided: array<u32>;
@group(0) @binding(6) var<storage, read_write> surface: array<u32>;
// Number of pixels whose surface has any weight.
@group(0) @binding(7) var<storage, read_write> known: array<atomic<u32>>;

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

/** Candidates of a pixel: depth index, support and tone. */
struct Candidates {
  indices: vec3i,
  supports: vec3i,
  tones: vec3i,
}

/** Best peaks of all levels at a pixel. */
struct Peaks {
  rises: vec4i,
  indices: vec4i,
  weights: vec4i,
}

/** What tones say for the surface of a pixel, logarithm of odds. */
fn toneOddsOf(supports: u32) -> f32 {
  let stored = i32((supports >> 24u) & 127u);
  return f32(select(stored - (maxToneOdds + 1), 0, stored == 0)) / f32(supportSteps);
}

/** How sure it is that a pixel shows its surface, 0 to 255. own, other: supports, octaves. ofTone: what tones say for it, ln odds. */
fn certaintyOf(own: f32, other: f32, ofTone: f32) -> i32 {
  let support = lnOf(own + minCompared);
  let odds = certaintyOdds + certaintyOfSupport * support + certaintyOfLead * (ofTone + (support - lnOf(other + minCompared)));
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
  // In the frame in which its surface is sharp.
  tone: u32,
}

fn decidedOf(x: i32, y: i32, decided: i32) -> Decided {
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
  let candidates = Candidates(
    vec3i(peaks.indices.x, second, peaks.indices.y),
    vec3i(supportAt(own, 0), supportAt(own, 1), supportAt(own, 2)),
    vec3i(pair & 255, pair >> 8u, coarsePair & 255),
  );
  var tone = u32(candidates.tones.x);
  for (var n = 2; n >= 0; n--) {
    if (candidates.supports[n] != 0 && abs(candidates.indices[n] - decided) < call.same) {
      tone = u32(candidates.tones[n]);
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
    toneOddsOf(own),
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
fn main(@builtin(global_invocation_id) id: vec3u, @builtin(local_invocation_index) index: u32) {
  if (index == 0u) {
    atomicStore(&found, 0u);
  }
  workgroupBarrier();
  let x = 2 * i32(id.x);
  let y = rowOf(call.band, id);
  if (!isOutside(call.band, id)) {
    let pair = decided[rowAt(call.decided, 0, y) + i32(id.x)];
    var words: array<u32, 4>;
    for (var i = 0; i < 2 && x + i < call.state.width; i++) {
      let stored = decidedOf(x + i, y, i32(u16Of(pair, i)));
      surface[rowAt(call.surface, 0, y) + x + i] = pairOf(u32(stored.index), u32(stored.weight));
      let half = 16u * u32(i);
      words[0] |= u32(stored.rise) << half;
      words[1] |= u32(stored.peak) << half;
      words[2] |= u32(stored.mark) << half;
      words[3] |= (u32(stored.certainty) | (stored.tone << 8u)) << half;
      if (stored.weight > 0) {
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

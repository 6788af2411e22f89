// Peaks of one level's focus curves, in place. One thread a pair of pixels. Beside it: peakStrip of
// kernels/assembly/peaks.ts, where the formulas are.
struct Call {
  band: Band,
  state: Set,
  full: Set,
  level: i32,
  nearSign: i32,
  unit: f32,
  fall: f32,
  fractionBits: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> state: array<u32>;
// Level 0, for the tones; any set where `level` is 0.
@group(0) @binding(2) var<storage, read> full: array<u32>;
// Codes that noise alone reaches, by brightness.
@group(0) @binding(3) var<storage, read> noise: array<i32>;
// Relative error of an energy, octaves, by rise in 1/16 octave.
@group(0) @binding(4) var<storage, read> errors: array<f32>;
// From a frame to the next, usual steps, by ordinal; 1 before the first and after the last.
@group(0) @binding(5) var<storage, read> steps: array<f32>;

const perOctave = 1.0 / codesPerOctave;

/** What is stored of a pixel. */
struct Peak {
  rise: u32,
  index: u32,
  weight: u32,
  secondRise: u32,
  secondIndex: u32,
  front: u32,
}

fn brightnessAt(x: i32, y: i32) -> i32 {
  if (call.level == 0) {
    return i32(u16Of(state[rowAt(call.state, tonesPlane, y) + (x >> 1u)], x) & 0xffu) >> 5u;
  }
  let column = min(call.full.width - 1, x << u32(call.level));
  let row = min(call.full.height - 1, y << u32(call.level));
  return i32(u16Of(full[rowAt(call.full, tonesPlane, row) + (column >> 1u)], column) & 0xffu) >> 5u;
}

/** Ordinal of the nearer of two peaks, where it stands out; 0 = none. */
fn frontOf(ordinal: i32, rise: i32, rival: i32, rivalRise: i32) -> i32 {
  let isRival = rival > 0 && (rival - ordinal) * call.nearSign < 0;
  let own = f32(select(rise, rivalRise, isRival)) * perOctave;
  if (own < sureOctaves) {
    return 0;
  }
  return select(ordinal, rival, isRival);
}

fn peakOf(x: i32, y: i32, codes: Codes) -> Peak {
  if (x >= call.state.width || codes.ordinal == 0) {
    return Peak(0u, 0u, 0u, 0u, u32(codes.rival), 0u);
  }
  let unit = call.unit;
  let floorCode = noise[brightnessAt(x, y)];
  let ordinal = codes.ordinal;
  let best = codes.best;
  let rise = best - floorCode;
  let rivalRise = codes.second - floorCode;
  var peak: Peak;
  peak.front = u32(frontOf(ordinal, rise, codes.rival, rivalRise));
  if (codes.rival > 0 && f32(rivalRise) > minPeakOctaves * codesPerOctave && (codes.marks & secondTruncated) == 0) {
    peak.secondRise = u32(rivalRise);
    peak.secondIndex = depthIndexCode(f32(codes.rival), call.fractionBits);
  }

  let behind = steps[ordinal - 1];
  let ahead = steps[ordinal];
  let across = floorCode + i32(minPeakOctaves * codesPerOctave);
  let before = select(codes.before, 0, behind >= minLongStep && codes.before < across);
  let after = select(codes.after, 0, ahead >= minLongStep && codes.after < across);
  let up = f32(best - before);
  let down = f32(best - after);
  var bend = (2.0 * (up / behind + down / ahead)) / ((behind + ahead) * codesPerOctave);
  var shift = 0.0;
  if (before > 0 && after > 0) {
    if (bend > 0.0) {
      var left = up;
      var right = down;
      if (max(behind, ahead) >= minLongStep) {
        left = powerOfTwo(up * 0.5 * perOctave) - 1.0;
        right = powerOfTwo(down * 0.5 * perOctave) - 1.0;
      }
      left /= behind;
      right /= ahead;
      shift = (0.5 * (left * ahead - right * behind)) / (left + right);
      shift = max(-0.5 * behind, min(0.5 * ahead, shift));
    }
  } else {
    // One side is missing: a curve of the usual bend through the other two.
    bend = usualBend / (unit * unit);
    let isAfter = after > 0;
    let step = select(behind, ahead, isAfter);
    let inner = select(select(0.0, up, before > 0), down, isAfter) * perOctave;
    let beyond = select(ahead, behind, isAfter);
    let farthest = select(min(2.0, 0.5 * beyond), 2.0, beyond < minLongStep);
    let outward = max(-0.5 * step, min(farthest, inner / (bend * step) - 0.5 * step));
    shift = select(select(0.0, outward, before > 0), -outward, isAfter);
  }
  let crossed = select(behind, ahead, shift > 0.0);
  peak.rise = u32(max(0, rise));
  peak.index = depthIndexCode(f32(ordinal) + shift / crossed, call.fractionBits);
  if (rise <= 0) {
    return peak;
  }
  if ((codes.marks & bestTruncated) != 0) {
    peak.weight = u32(gapBit);
    return peak;
  }
  let relative = errors[min(511, rise >> 5u)];
  let certain = bend * unit * unit;
  let weight = i32((weightUnit * certain * certain) / (relative * relative + certain * certain * (minIndexError * minIndexError)) + 0.5);
  let isMissed = crossed < minLongStep && 0.5 * bend * shift * shift > call.fall;
  peak.weight = u32(max(1, weight)) | select(0u, u32(gapBit), isMissed);
  return peak;
}

/** What was followed of a pixel. */
struct Codes {
  best: i32,
  before: i32,
  after: i32,
  marks: i32,
  second: i32,
  ordinal: i32,
  rival: i32,
}

fn codesOf(x: i32, words: array<u32, 7>) -> Codes {
  return Codes(
    i32(u16Of(words[0], x)),
    i32(u16Of(words[1], x)),
    i32(u16Of(words[2], x)),
    i32(u16Of(words[3], x)),
    i32(u16Of(words[4], x)),
    i32(u16Of(words[5], x)),
    i32(u16Of(words[6], x)),
  );
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let word = i32(id.x);
  let y = rowOf(call.band, id);
  let row = rowAt(call.state, 0, y) + word;
  let plane = call.state.planeWords;
  let words = array<u32, 7>(
    state[row + bestPlane * plane],
    state[row + beforePlane * plane],
    state[row + afterPlane * plane],
    state[row + truncationPlane * plane],
    state[row + secondPlane * plane],
    state[row + bestOrdinalPlane * plane],
    state[row + secondOrdinalPlane * plane],
  );
  let even = peakOf(2 * word, y, codesOf(0, words));
  let odd = peakOf(2 * word + 1, y, codesOf(1, words));
  state[row + risePlane * plane] = pairOf(even.rise, odd.rise);
  state[row + indexPlane * plane] = pairOf(even.index, odd.index);
  state[row + weightPlane * plane] = pairOf(even.weight, odd.weight);
  state[row + secondRisePlane * plane] = pairOf(even.secondRise, odd.secondRise);
  state[row + secondIndexPlane * plane] = pairOf(even.secondIndex, odd.secondIndex);
  state[row + frontPlane * plane] = pairOf(even.front, odd.front);
}

// Centre and reach of each coefficient of a level, and of level 0 its source and the frames that each tile uses: see
// planStrip of kernels/assembly/plan.ts, which this follows line by line; all of it is whole numbers. One thread writes
// the two pixels of a word.
//
// surface: depth indices of the level, the low halves of words. full: of level 0, with weights in the high halves.
// fronts: state of level 0, of which front layers are read. peaks: state of the level. spans: of each row the columns that all frames reach, then those of each frame by ordinal, from and past the
// end. out: centre, reach and, with more than one such plane, front layers; else those are the high ten bits of the reach. uses:
// one bit a tile and frame, useWords a tile, cleared before.
struct Call {
  band: Band,
  surface: Set,
  full: Set,
  fronts: Set,
  peaks: Set,
  spans: Set,
  out: Set,
  sources: Set,
  surfacePlane: i32,
  hasPeaks: i32,
  fullWeight: i32,
  frontApart: i32,
  sameIndex: i32,
  nearSign: i32,
  level: i32,
  rule: i32,
  fractionBits: i32,
  count: i32,
  useWords: i32,
  tileRows: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> surface: array<u32>;
@group(0) @binding(2) var<storage, read> full: array<u32>;
@group(0) @binding(3) var<storage, read> fronts: array<u32>;
@group(0) @binding(4) var<storage, read> peaks: array<u32>;
@group(0) @binding(5) var<storage, read> spans: array<u32>;
@group(0) @binding(6) var<storage, read_write> out: array<u32>;
@group(0) @binding(7) var<storage, read_write> sources: array<u32>;
@group(0) @binding(8) var<storage, read_write> uses: array<atomic<u32>>;

const ruleAuto = 0;
const ruleSelect = 1;

/** A length of 1/64 frame in stored units. */
fn unitsOf64ths(length: i32) -> i32 {
  return length >> u32(6 - call.fractionBits);
}

fn indexOffsetCode() -> i32 {
  return i32(indexOffset) << u32(call.fractionBits);
}

fn codeOf(ordinal: i32) -> i32 {
  return ordinal << u32(call.fractionBits);
}

fn peakAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(peaks[rowAt(call.peaks, plane, y) + (x >> 1u)], x));
}

fn isReached(ordinal: i32, x: i32, y: i32) -> bool {
  let span = rowAt(call.spans, 0, y) + 2 * ordinal;
  return x >= i32(spans[span]) && x < i32(spans[span + 1]);
}

/** Ordinal of the frame nearest to a centre that reaches the pixel; 0 when none does. */
fn nearestFrame(centre: i32, x: i32, y: i32) -> i32 {
  var nearest = 0;
  for (var k = 1; k <= call.count; k++) {
    if (isReached(k, x, y) && (nearest == 0 || abs(codeOf(k) - centre) < abs(codeOf(nearest) - centre))) {
      nearest = k;
    }
  }
  return nearest;
}

/** Whether the surface of level 0 or something thin before it lies near to a depth index in the window of a coarser pixel. */
fn isThere(depthIndex: i32, x: i32, y: i32) -> bool {
  let width = call.full.width;
  let height = call.full.height;
  for (var dy = -windowRadius; dy <= windowRadius; dy++) {
    let v = clamp((y + dy) << u32(call.level), 0, height - 1);
    let fullRow = rowAt(call.full, 0, v);
    let frontRow = rowAt(call.fronts, frontPlane, v);
    for (var dx = -windowRadius; dx <= windowRadius; dx++) {
      let u = clamp((x + dx) << u32(call.level), 0, width - 1);
      let depth = i32(full[fullRow + u] & 0xffffu) - indexOffsetCode();
      if (abs(depth - depthIndex) <= call.sameIndex) {
        return true;
      }
      let front = codeOf(i32(u16Of(fronts[frontRow + (u >> 1u)], u)));
      if (front > 0 && abs(front - depthIndex) <= call.sameIndex) {
        return true;
      }
    }
  }
  return false;
}

struct Planned {
  centre: i32,
  width64: i32,
  front: i32,
  nearest: i32,
}

fn plannedAt(x: i32, y: i32) -> Planned {
  let level = u32(call.level);
  let lastCentre = codeOf(call.count);
  var centre = i32(surface[rowAt(call.surface, call.surfacePlane, y) + x] & 0xffffu) - indexOffsetCode();
  var width64 = clearReach;
  var near = 0;
  if (call.level < finestLevels) {
    let u = min(call.full.width - 1, x << level);
    let v = min(call.full.height - 1, y << level);
    let weight = i32(full[rowAt(call.full, 0, v) + u] >> 16u);
    let unsure = call.fullWeight - min(call.fullWeight, weight);
    width64 = max(width64, 64 + (unsure * (flatReach - 64)) / call.fullWeight) & ~3;
  }
  if (call.hasPeaks != 0) {
    if (call.rule == ruleSelect) {
      let ordinal = peakAt(bestOrdinalPlane, x, y);
      if (ordinal > 0) {
        centre = codeOf(ordinal);
      }
      width64 = singleReach;
    } else if (call.rule == ruleAuto) {
      if (call.level < finestLevels) {
        near = peakAt(frontPlane, x, y);
      }
      let rise = peakAt(risePlane, x, y);
      let own = peakAt(indexPlane, x, y) - indexOffsetCode();
      if (call.level > 0 && near > 0) {
        let isBefore =
          max(call.nearSign * centre, call.nearSign * own) - call.nearSign * codeOf(near) > call.frontApart;
        if (isBefore && !isThere(codeOf(near), x, y)) {
          near = 0;
        }
      }
      // What can be laid over the rest need not take its place.
      let isLaid = near > 0 && call.nearSign * (centre - codeOf(near)) > call.frontApart &&
        call.nearSign * (centre - own) > call.frontApart;
      let isClear = rise > clearRise && !isLaid;
      if (isClear) {
        // Level 0 is its own witness; a coarser level needs one where it means something else than the surface.
        if (call.level == 0 || abs(own - centre) < call.sameIndex || isThere(own, x, y)) {
          centre = own;
          width64 = clearReach;
        }
      }
      if (rise < clearRise) {
        width64 = max(width64, faintReach);
      }
    }
  }
  centre = clamp(centre, codeOf(1), lastCentre);
  let blendWidth = unitsOf64ths(width64);
  var nearest = (centre + (1 << u32(call.fractionBits - 1))) >> u32(call.fractionBits);
  let all = rowAt(call.spans, 0, y);
  if (x < i32(spans[all]) || x >= i32(spans[all + 1])) {
    // Not every frame reaches here: the centre moves to where the nearest that does keeps a weight.
    nearest = nearestFrame(centre, x, y);
    let most = (blendWidth * 7) / 10;
    let nearestCentre = codeOf(nearest);
    if (nearest > 0 && abs(nearestCentre - centre) > most) {
      centre = nearestCentre + select(-most, most, centre > nearestCentre);
    }
  }
  let isFront = near > 0 && call.nearSign * (centre - codeOf(near)) > call.frontApart;
  return Planned(centre, width64, select(0, near, isFront), nearest);
}

/** Sets the bits of frames first..last of a tile. */
fn markUses(tile: i32, first: i32, last: i32) {
  for (var word = first >> 5u; word <= last >> 5u; word++) {
    let low = max(0, first - 32 * word);
    let high = min(31, last - 32 * word);
    let bits = (0xffffffffu >> u32(31 - high)) & (0xffffffffu << u32(low));
    let at = tile * call.useWords + word;
    // Neighbours mostly ask for the same frames.
    if ((atomicLoad(&uses[at]) & bits) != bits) {
      atomicOr(&uses[at], bits);
    }
  }
}

fn markPixel(planned: Planned, x: i32, y: i32) {
  let tiles = (call.out.width + tileColumns - 1) / tileColumns;
  let tile = (y / call.tileRows) * tiles + x / tileColumns;
  let blendWidth = unitsOf64ths(planned.width64);
  let first = max(1, ((planned.centre - blendWidth) >> u32(call.fractionBits)) + 1);
  let last = min(call.count, (planned.centre + blendWidth - 1) >> u32(call.fractionBits));
  if (first <= last) {
    markUses(tile, first, last);
  }
  if (planned.front > 0) {
    markUses(tile, planned.front, planned.front);
  }
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let word = i32(id.x);
  let y = rowOf(call.band, id);
  let even = plannedAt(2 * word, y);
  let odd = plannedAt(min(call.out.width - 1, 2 * word + 1), y);
  out[rowAt(call.out, 0, y) + word] = pairOf(u32(even.centre), u32(odd.centre));
  var evenReach = u32(even.width64) >> 2u;
  var oddReach = u32(odd.width64) >> 2u;
  if (call.out.planes > 2) {
    out[rowAt(call.out, 2, y) + word] = pairOf(u32(even.front), u32(odd.front));
  } else {
    evenReach |= u32(even.front) << 6u;
    oddReach |= u32(odd.front) << 6u;
  }
  out[rowAt(call.out, 1, y) + word] = pairOf(evenReach, oddReach);
  if (call.level == 0) {
    sources[rowAt(call.sources, 0, y) + word] = pairOf(u32(even.nearest), u32(odd.nearest));
    markPixel(even, 2 * word, y);
    if (2 * word + 1 < call.out.width) {
      markPixel(odd, 2 * word + 1, y);
    }
  }
}

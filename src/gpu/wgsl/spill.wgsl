// The spill over each pixel of level 1 in the frames of its own depth: see spillStrip of kernels/assembly/spill.ts.
//
// surface: depth indices in the low, weights in the high halves of words. cells0 to cells4: cells of 4 to 64 px, see
// spillCells.wgsl. samples: cosine, sine and distance (0..1) of each point of the disc. reaches: a value each block of 32 px
// of level 0. out: red and green, blue and share, depth index, a word each.
struct Call {
  band: Band,
  surface: Set,
  cells0: Set,
  cells1: Set,
  cells2: Set,
  cells3: Set,
  cells4: Set,
  reaches: Set,
  out: Set,
  leastWeight: i32,
  sampleCount: i32,
  blur: f32,
  gap: i32,
  nearSign: i32,
  fractionBits: i32,
  plainShare: u32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> surface: array<u32>;
@group(0) @binding(2) var<storage, read> cells0: array<u32>;
@group(0) @binding(3) var<storage, read> cells1: array<u32>;
@group(0) @binding(4) var<storage, read> cells2: array<u32>;
@group(0) @binding(5) var<storage, read> cells3: array<u32>;
@group(0) @binding(6) var<storage, read> cells4: array<u32>;
@group(0) @binding(7) var<storage, read> reaches: array<f32>;
@group(0) @binding(8) var<storage, read> samples: array<f32>;
@group(0) @binding(9) var<storage, read_write> out: array<u32>;
// Number of pixels whose share is plainShare or more.
@group(0) @binding(10) var<storage, read_write> count: array<atomic<u32>>;

/** The five words of a cell; of one beyond the edges none holds anything. */
fn cellAt(size: i32, x: i32, y: i32) -> array<u32, 5> {
  var cell = array<u32, 5>();
  var within: Set;
  switch size {
    case 0: { within = call.cells0; }
    case 1: { within = call.cells1; }
    case 2: { within = call.cells2; }
    case 3: { within = call.cells3; }
    default: { within = call.cells4; }
  }
  if (x < 0 || y < 0 || x >= within.width || y >= within.height) {
    return cell;
  }
  for (var word = 4; word >= 0; word--) {
    let at = rowAt(within, word, y) + x;
    switch size {
      case 0: { cell[word] = cells0[at]; }
      case 1: { cell[word] = cells1[at]; }
      case 2: { cell[word] = cells2[at]; }
      case 3: { cell[word] = cells3[at]; }
      default: { cell[word] = cells4[at]; }
    }
    // Most cells are not nearer than anything: their light is not asked for.
    if (word == 4 && cell[4] == 0u) {
      return cell;
    }
  }
  return cell;
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  let word = surface[rowAt(call.surface, 0, 2 * y) + 2 * x];
  let depthIndex = word & 0xffffu;
  let depth = call.nearSign * i32(depthIndex);
  let reach = 0.5 * reaches[rowAt(call.reaches, 0, y >> 4u) + (x >> 4u)];
  let perUnit = call.blur / (2.0 * f32(1 << u32(call.fractionBits)));
  var light = vec4f();
  if (reach > 0.0 && i32(word >> 16u) >= call.leastWeight) {
    let part = 2.0 * reach / f32(call.sampleCount);
    for (var sample = 0; sample < call.sampleCount; sample++) {
      let r = reach * samples[3 * sample + 2];
      // The ring's part of this sample is pi r part, a cell of size s is 4^(s + 1).
      var size = 0;
      var side = 2.0;
      while (size < 4 && r * part * 3.14 > 2.0 * side * side) {
        size++;
        side *= 2.0;
      }
      let perSide = 1.0 / side;
      let column = i32(floor((f32(x) + r * samples[3 * sample] + 0.5) * perSide));
      let row = i32(floor((f32(y) + r * samples[3 * sample + 1] + 0.5) * perSide));
      let cell = cellAt(size, column, row);
      for (var layer = 0; layer < 2; layer++) {
        let other = i32(u16Of(cell[4], layer));
        let nearer = depth - call.nearSign * other;
        if (other != 0 && nearer > call.gap) {
          let radius = perUnit * f32(nearer);
          let cover = min(1.0, (radius - r) * perSide + 0.5);
          if (cover > 0.0) {
            light += cover * part * r / (radius * radius) * lightOfWords(cell[2 * layer], cell[2 * layer + 1]);
          }
        }
      }
    }
    // What lies nearer covers the disc as though it were strewn over it: 1 - exp(-sum).
    let sum = light.w / 65535.0;
    if (sum > 0.0) {
      light *= (1.0 - 1.0 / powerOfTwo(min(99.0, sum * 1.4426950408889634))) / sum;
    }
  }
  let words = wordsOfLight(light);
  out[rowAt(call.out, 0, y) + x] = words.x;
  out[rowAt(call.out, 1, y) + x] = words.y;
  out[rowAt(call.out, 2, y) + x] = depthIndex;
  if ((words.y >> 16u) >= call.plainShare) {
    atomicAdd(&count[0], 1u);
  }
}

// Cells of 4 px, each with two layers of light: see spillCellsStrip of kernels/assembly/spill.ts. A cell is five words, a plane
// each: of the front layer red and green, blue and share; the same of the rest; the depth indices of both, 0 = none.
// surface: depth indices in the low, weights in the high halves of words. lights: of level 1, RGBx bytes, the square roots
// of light.
struct Call {
  band: Band,
  surface: Set,
  lights: Set,
  out: Set,
  leastWeight: i32,
  gap: i32,
  nearSign: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> surface: array<u32>;
@group(0) @binding(2) var<storage, read> lights: array<u32>;
@group(0) @binding(3) var<storage, read_write> out: array<u32>;

const farthest = 0x7fffffff;

/** nearSign times the depth index of a pixel of level 0, `farthest` where it is unknown. */
fn nearAt(x: i32, y: i32) -> i32 {
  if (x >= call.surface.width || y >= call.surface.height) {
    return farthest;
  }
  let word = surface[rowAt(call.surface, 0, y) + x];
  return select(farthest, call.nearSign * i32(word & 0xffffu), i32(word >> 16u) >= call.leastWeight);
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  if (isOutside(call.band, id)) {
    return;
  }
  let x = i32(id.x);
  let y = rowOf(call.band, id);
  var nearest = farthest;
  for (var i = 0; i < 16; i++) {
    nearest = min(nearest, nearAt(4 * x + (i & 3), 4 * y + (i >> 2u)));
  }
  var layers = Layers();
  if (nearest < farthest) {
    for (var i = 0; i < 4; i++) {
      let column = min(call.lights.width - 1, 2 * x + (i & 1));
      let row = min(call.lights.height - 1, 2 * y + (i >> 1u));
      let bytes = lights[rowAt(call.lights, 0, row) + column];
      let root = vec3f(f32(bytes & 0xffu), f32((bytes >> 8u) & 0xffu), f32((bytes >> 16u) & 0xffu));
      let light = vec4f(root * root * (65535.0 / 65025.0 / 4.0), 65535.0 / 4.0);
      for (var j = 0; j < 4; j++) {
        let near = nearAt(4 * x + (i & 1) * 2 + (j & 1), 4 * y + (i >> 1u) * 2 + (j >> 1u));
        if (near < farthest) {
          addLayer(&layers, light, call.nearSign * near, near - nearest < call.gap);
        }
      }
    }
  }
  let cell = cellOf(layers);
  for (var word = 0; word < 5; word++) {
    out[rowAt(call.out, word, y) + x] = cell[word];
  }
}

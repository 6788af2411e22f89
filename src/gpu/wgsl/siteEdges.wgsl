// Whether clear peaks about places of a level, on a grid, lie so many frames apart that there may be an edge: 1 or 0, a word a
// place. The rows of the band are 16 a row of places, of which a thread's is the 16th part, so that few rows of the level are
// bound at once. Beside it: `Window.mayHoldEdge` of focus/site-votes.ts.
struct Call {
  band: Band,
  state: Set,
  full: Set,
  edges: Set,
  level: i32,
  apart: i32,
  pitch: i32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read> state: array<u32>;
// Level 0, for the tones.
@group(0) @binding(2) var<storage, read> full: array<u32>;
@group(0) @binding(3) var<storage, read_write> edges: array<u32>;
// Codes that noise alone reaches, by brightness.
@group(0) @binding(4) var<storage, read> noise: array<f32>;

fn stateAt(plane: i32, x: i32, y: i32) -> i32 {
  return i32(u16Of(state[rowAt(call.state, plane, y) + (x >> 1u)], x));
}

fn noiseAt(x: i32, y: i32) -> f32 {
  let column = min(call.full.width - 1, x << u32(call.level));
  let row = min(call.full.height - 1, y << u32(call.level));
  return noise[(u16Of(full[rowAt(call.full, tonesPlane, row) + (column >> 1u)], column) & 0xffu) >> 5u];
}

@compute @workgroup_size(16, 16)
fn main(@builtin(global_invocation_id) id: vec3u) {
  let row = rowOf(call.band, id) / 16;
  let column = 16 * i32(id.x) + rowOf(call.band, id) % 16;
  if (isOutside(call.band, id) || column >= call.edges.width) {
    return;
  }
  let x = siteRadius + averageRadius + column * call.pitch;
  let y = siteRadius + averageRadius + row * call.pitch;
  var least = 0xffff;
  var most = 0;
  for (var v = y - siteRadius; v <= y + siteRadius; v += windowRadius) {
    for (var u = x - siteRadius; u <= x + siteRadius; u += windowRadius) {
      let label = stateAt(bestOrdinalPlane, u, v);
      if (label != 0 && f32(stateAt(bestPlane, u, v)) > noiseAt(u, v) + clearOctaves * codesPerOctave) {
        least = min(least, label);
        most = max(most, label);
      }
    }
  }
  edges[rowAt(call.edges, 0, row) + column] = u32(most - least >= call.apart);
}

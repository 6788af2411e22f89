// The tenth percentile of each bin of brightness that countNoise has counted enough of, or 0xffffffff; counts are set back
// to zero. A group of threads takes one bin: 16 x 16 threads, 128 codes each.
struct Call {
  band: Band,
  least: u32,
  place: u32,
}
@group(0) @binding(0) var<uniform> call: Call;
@group(0) @binding(1) var<storage, read_write> counts: array<u32>;
@group(0) @binding(2) var<storage, read_write> low: array<u32>;

var<workgroup> sums: array<u32, 256>;

@compute @workgroup_size(16, 16)
fn main(@builtin(workgroup_id) group: vec3u, @builtin(local_invocation_index) thread: u32) {
  let first = group.x * 32768u + thread * 128u;
  var sum = 0u;
  for (var i = 0u; i < 128u; i++) {
    sum += counts[first + i];
  }
  sums[thread] = sum;
  workgroupBarrier();
  var before = 0u;
  var total = 0u;
  for (var i = 0u; i < 256u; i++) {
    before += select(0u, sums[i], i < thread);
    total += sums[i];
  }
  let rank = total / 10u;
  if (total < call.least) {
    if (thread == 0u) {
      low[call.place + group.x] = 0xffffffffu;
    }
  } else if (rank >= before && rank < before + sum) {
    var past = before;
    for (var i = 0u; i < 128u; i++) {
      past += counts[first + i];
      if (past > rank) {
        low[call.place + group.x] = thread * 128u + i;
        break;
      }
    }
  }
  for (var i = 0u; i < 128u; i++) {
    counts[first + i] = 0u;
  }
}

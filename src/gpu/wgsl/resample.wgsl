// Resampling by the two passes of kernels/assembly/warp.ts as one: six rows about the position, along each of them six taps.
// A kernel with it has `call.toSource` (see `warpAffine` in gpu/blend.ts), the table `taps`, and `sourcePixel(x, y)`, which
// clamps to the borders.

/** Row v of the source at column x of the output. */
fn alongRow(x: i32, v: i32) -> vec3f {
  let place = placeOf(call.toSource, x, v, f32(x));
  let across = tapsOf(place.cell.x, place.part.x);
  var sum = vec3f();
  for (var i = 0; i < 6; i++) {
    sum += sourcePixel(across.first + i, v) * taps[8 * across.phase + i];
  }
  return sum;
}

/** The source at pixel (x, y) of the output. */
fn resampledAt(x: i32, y: i32) -> vec3f {
  let place = placeOf(call.toSource, x, y, f32(x));
  let down = tapsOf(place.cell.y, place.part.y);
  var sum = vec3f();
  for (var i = 0; i < 6; i++) {
    sum += alongRow(x, down.first + i) * taps[8 * down.phase + i];
  }
  return sum;
}

// From accumulated pyramid to picture: out_l = acc_l / sum_l + expand(out_l+1), written over acc_l.
import { fillEnds } from './common';
import { expandColumns, expandFour } from './pyramid';

/** Rows of one strip of a level; coarse 0 = coarsest level. A pixel that no frame reached gets coefficient 0. */
export function collapseStrip(
  acc: usize, stride: i32, accBytes: usize, width: i32, height: i32, sum: usize,
  coarse: usize, coarseStride: i32, coarseBytes: usize,
  stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const temp = scratch + 64;
  const tiny = f32x4.splat(1e-12);
  for (let y = strip * stripRows; y < y1; y++) {
    const row = usize(y * stride) << 2;
    for (let p = 0; p < 3; p++) {
      const o = acc + usize(p) * accBytes + row;
      if (coarse != 0) {
        expandColumns(coarse + usize(p) * coarseBytes, coarseStride, 0, (height + 1) >> 1, y, -4, ((width + 1) >> 1) + 4, temp);
      }
      for (let x = 0; x < width; x += 4) {
        const at = usize(x) << 2;
        const s = v128.load(sum + row + at);
        let value = v128.div<f32>(v128.load(o + at), v128.max<f32>(s, tiny));
        if (coarse != 0) value = v128.add<f32>(value, expandFour(temp, x >> 1));
        v128.store(o + at, value);
      }
      fillEnds(o, width);
    }
  }
}

/** Planes 0..255 to interleaved RGB of 8 or 16 bits, rounded and clamped: rows of one strip. */
export function quantiseStrip(
  planes: usize, stride: i32, planeBytes: usize, width: i32, height: i32,
  out: usize, bits: i32, stripRows: i32, strip: i32, scratch: usize,
): void {
  const y1 = min(height, (strip + 1) * stripRows);
  const top: f32 = bits == 8 ? 255 : 65535;
  const unit: f32 = bits == 8 ? 1 : 257;
  for (let y = strip * stripRows; y < y1; y++) {
    let o = out + usize(y) * usize(width) * (bits == 8 ? 3 : 6);
    const row = planes + (usize(y * stride) << 2);
    for (let x = 0; x < width; x++) {
      for (let p = 0; p < 3; p++) {
        const v = load<f32>(row + usize(p) * planeBytes + (usize(x) << 2)) * unit + 0.5;
        const q = u32(min<f32>(top, max<f32>(0, v)));
        if (bits == 8) {
          store<u8>(o, q);
          o += 1;
        } else {
          store<u16>(o, q);
          o += 2;
        }
      }
    }
  }
}

import { fitCurve, srgbCurve, type TransferCurve } from '../image/transfer-curve.js';

/**
 * The transfer curve of an ICC profile (ICC.1:2022, 9.2 and 10.6, 10.18): that of its green or grey channel, for which a
 * profile of matrix and curves has a `curv` or a `para` tag. sRGB where there is no profile, no such tag, or a damaged one.
 */
export function profileCurve(icc: Buffer | undefined): TransferCurve {
  const tag = icc && (tagOf(icc, 'gTRC') ?? tagOf(icc, 'kTRC'));
  const light = tag && lightOf(tag);
  if (!light || !(Math.abs(light(0)) < 0.01) || !(Math.abs(light(1) - 1) < 0.01)) return srgbCurve;
  const curve = fitCurve(light);
  return curve.every(Number.isFinite) ? curve : srgbCurve;
}

function tagOf(icc: Buffer, signature: string): Buffer | undefined {
  if (icc.length < 132) return undefined;
  const count = Math.min(icc.readUInt32BE(128), Math.floor((icc.length - 132) / 12));
  for (let i = 0; i < count; i++) {
    const entry = 132 + 12 * i;
    if (icc.toString('latin1', entry, entry + 4) !== signature) continue;
    const offset = icc.readUInt32BE(entry + 4);
    const tag = icc.subarray(offset, offset + icc.readUInt32BE(entry + 8));
    return tag.length >= 12 ? tag : undefined;
  }
  return undefined;
}

/** Light of a sample, both 0 to 1; undefined for a tag of another type, or one that is cut short. */
function lightOf(tag: Buffer): ((v: number) => number) | undefined {
  const type = tag.toString('latin1', 0, 4);
  if (type === 'curv') return tabulated(tag);
  return type === 'para' ? parametric(tag) : undefined;
}

function tabulated(tag: Buffer): ((v: number) => number) | undefined {
  const count = tag.readUInt32BE(8);
  if (count === 0) return (v) => v;
  if (tag.length < 12 + 2 * count) return undefined;
  const entry = (i: number) => tag.readUInt16BE(12 + 2 * i);
  if (count === 1) return (v) => Math.max(0, v) ** (entry(0) / 256);
  return (v) => {
    const at = Math.min(1, Math.max(0, v)) * (count - 1);
    const low = Math.min(count - 2, Math.floor(at));
    return (entry(low) + (at - low) * (entry(low + 1) - entry(low))) / 65535;
  };
}

/** Numbers of parameters of the function types 0 to 4. */
const parameterCounts = [1, 3, 4, 5, 7];

function parametric(tag: Buffer): ((v: number) => number) | undefined {
  const type = tag.readUInt16BE(8);
  const count = parameterCounts[type];
  if (count === undefined || tag.length < 12 + 4 * count) return undefined;
  const [g, a = 1, b = 0, c = 0, d = 0, e = 0, f = 0] = Array.from(
    { length: count },
    (_, i) => tag.readInt32BE(12 + 4 * i) / 65536,
  );
  const power = (v: number) => Math.max(0, a * v + b) ** g;
  if (type === 0) return power;
  if (type === 1) return (v) => (v >= -b / a ? power(v) : 0);
  if (type === 2) return (v) => (v >= -b / a ? power(v) + c : c);
  return (v) => (v >= d ? power(v) + e : c * v + f);
}

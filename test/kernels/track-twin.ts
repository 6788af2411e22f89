import { type Plane, pictureOf, randomFrom } from './kernel-rig.js';

const frames = 16;

/** Codes of every frame: one broad peak or two that lie well apart, of random heights and depth indices. */
export function curvesOf(width: number, height: number, seed: number): Plane[] {
  const random = randomFrom(seed);
  const bells = Array.from({ length: width * height }, () => {
    const first = 1 + random() * 4;
    const both = random() < 0.6 ? 1 : 0;
    return [
      { depthIndex: first, rise: 2000 + random() * 6000 },
      { depthIndex: first + 8 + random() * 4, rise: both * (2000 + random() * 6000) },
    ];
  });
  return Array.from({ length: frames }, (_, k) =>
    pictureOf(width, height, (x, y) => {
      const rises = bells[y * width + x].map(
        ({ depthIndex, rise }) => rise * Math.exp(-(((k + 1 - depthIndex) / 1.6) ** 2) / 2),
      );
      return Math.round(3000 + rises[0] + rises[1]);
    }),
  );
}

/** What the state means, from the whole curve at once; index 0 is ordinal 1. */
export function readCurve(curve: readonly number[], prominence: number) {
  const best = Math.max(...curve);
  const peak = curve.indexOf(best);
  let second = 0;
  let secondOrdinal = 0;
  curve.forEach((code, k) => {
    if (Math.abs(k - peak) <= 2 || code <= second) return;
    const valley = Math.min(...curve.slice(Math.min(k, peak) + 1, Math.max(k, peak)));
    if (code - prominence > valley) {
      second = code;
      secondOrdinal = k + 1;
    }
  });
  return {
    best,
    bestOrdinal: peak + 1,
    before: curve[peak - 1] ?? 0,
    after: curve[peak + 1] ?? 0,
    latest: curve.at(-1)!,
    second,
    secondOrdinal,
  };
}

/**
 * Points of a disc on a spiral of the golden angle, as kernels take them: cosine, sine and distance from the centre of
 * each, f32. `distanceOf` gives the distance, 0 to 1, of the part of the points that lie farther in: the square root
 * spreads them evenly over the area.
 */
export function spiralPoints(count: number, distanceOf: (part: number) => number): Float32Array {
  const golden = Math.PI * (3 - Math.sqrt(5));
  return Float32Array.from(
    Array.from({ length: count }, (_, i) => [
      Math.cos(i * golden),
      Math.sin(i * golden),
      distanceOf((i + 0.5) / count),
    ]).flat(),
  );
}

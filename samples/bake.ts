import type { SceneSize, Strand, Surface } from './scene.js';
import { createStrandScratch, traceStrand } from './strands.js';

/**
 * Draws thick strands into one surface, the nearest on top. `round` is how many steps nearer a strand's middle is than
 * its sides, for each pixel of half width.
 */
export function bakeStrands(strands: readonly Strand[], size: SceneSize, round: number): Surface {
  const width = size.width + 2 * size.margin;
  const height = size.height + 2 * size.margin;
  const rgba = new Float32Array(width * height * 4);
  const depth = new Float32Array(width * height).fill(Infinity);
  const scratch = createStrandScratch(width * height);
  const colour = new Float64Array(3);
  const farthestFirst = [...strands].sort((first, second) => second.points[2] - first.points[2]);
  for (const strand of farthestFirst) {
    const points = strand.points.map((value, i) => (i % 4 < 2 ? value + size.margin : value));
    const half = strand.points.reduce((most, value, i) => (i % 4 === 3 ? Math.max(most, value) : most), 0);
    traceStrand(points, width, height, scratch, (cell, { cover, depth: middle, along, across }) => {
      const own = middle - round * half * Math.sqrt(1 - across * across);
      if (own > depth[cell]) return;
      strand.colour(along, across, colour);
      for (let channel = 0; channel < 3; channel++) {
        rgba[4 * cell + channel] = rgba[4 * cell + channel] * (1 - cover) + colour[channel] * cover;
      }
      if (cover >= 0.5 || rgba[4 * cell + 3] < 0.5) depth[cell] = own;
      rgba[4 * cell + 3] += (1 - rgba[4 * cell + 3]) * cover;
    });
  }
  return { rgba, depth };
}

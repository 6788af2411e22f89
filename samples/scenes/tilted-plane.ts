import { fromBytes, layeredNoise, mixColour, smoothNoise } from '../noise.js';
import { depthAt, drawSurface, type Scene, type SceneSize } from '../scene.js';

/**
 * A stone-like plane, textured at all sizes from 3 px up, that leans away from the camera to the lower right and
 * passes through all planes of focus.
 */
export function tiltedPlane(size: SceneSize, seed: number): Scene {
  const dark = fromBytes(58, 52, 50);
  const light = fromBytes(214, 200, 178);
  const rust = fromBytes(150, 92, 58);
  const surface = drawSurface(size, (x, y, out) => {
    const coarse = layeredNoise(x / 60, y / 60, 4, 0.75, seed);
    const fine = smoothNoise(x / 3.1, y / 3.1, seed + 7) + smoothNoise(x / 5.3 + 0.4, y / 5.3, seed + 8);
    const tone = 0.5 + 0.55 * coarse + 0.16 * fine;
    const stone = mixColour(dark, light, Math.min(1, Math.max(0, tone)));
    const stain = Math.max(0, layeredNoise(x / 130, y / 130, 3, 0.6, seed + 20));
    const colour = mixColour(stone, rust, Math.min(0.6, 1.2 * stain));
    out.set(colour);
    out[3] = 1;
    out[4] = depthAt(size, 0.03 + (0.84 * (x + 0.5)) / size.width + (0.1 * (y + 0.5)) / size.height);
  });
  return { surfaces: [surface], strands: [] };
}

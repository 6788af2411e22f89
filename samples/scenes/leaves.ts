import { layeredNoise, smoothNoise } from '../noise.js';
import { createRandom, type Random } from '../random.js';
import { depthAt, drawSurface, type Scene, type SceneSize, type Strand, type Surface } from '../scene.js';
import { makeStrand } from '../strand-path.js';

const leafCount = 5;
const stemCount = 14;

/**
 * Leaves that lie before each other and before a textured ground, some with holes, and stems at any depth. Each has a
 * tone and a texture of its own, from faint to strong, so that neither brightness nor detail says what is near.
 */
export function leaves(size: SceneSize, seed: number): Scene {
  const random = createRandom(seed, 'leaves');
  const parts = Array.from({ length: leafCount }, () => random.between(0.05, 0.8)).sort((a, b) => a - b);
  return {
    surfaces: [
      ...parts.map((part, i) => leaf(size, random, part, seed + 10 * i)),
      ground(size, random, seed + 900),
    ],
    strands: Array.from({ length: stemCount }, (_, i) => stem(size, random, seed + 1000 + i)),
  };
}

/** A tone and a texture: linear light 0 to 1 at a place. */
function skin(random: Random, seed: number): (x: number, y: number) => number {
  const tone = random.between(0.12, 0.6);
  const strength = 0.08 * 8 ** random.unit();
  const grain = random.between(2.2, 4.5);
  return (x, y) => {
    const texture =
      0.6 * layeredNoise(x / (6 * grain), y / (6 * grain), 3, 0.8, seed) +
      smoothNoise(x / grain, y / grain, seed + 5);
    return Math.min(1, Math.max(0.01, tone * (1 + strength * texture)));
  };
}

function leaf(size: SceneSize, random: Random, part: number, seed: number): Surface {
  const side = Math.min(size.width, size.height);
  const centreX = random.between(0, size.width);
  const centreY = random.between(0, size.height);
  const radius = side * random.between(0.18, 0.38);
  const lobes = 2 + Math.floor(3 * random.unit());
  const turn = random.between(0, 6);
  const holes = random.unit() < 0.5 ? 0.35 : 2;
  const light = skin(random, seed);
  const slope = random.between(-1, 1);
  return drawSurface(size, (x, y, out) => {
    const distance = Math.hypot(x - centreX, y - centreY);
    const rim = radius * (1 + 0.25 * Math.cos(lobes * Math.atan2(y - centreY, x - centreX) + turn));
    const hole = (holes - layeredNoise(x / (side / 9), y / (side / 9), 2, 0.5, seed + 7)) * (side / 18);
    out.fill(light(x, y), 0, 3);
    out[1] *= 1.1;
    out[3] = Math.min(rim - distance, hole) + 0.5;
    out[4] = depthAt(size, part) + (slope * (x - centreX)) / radius;
  });
}

function ground(size: SceneSize, random: Random, seed: number): Surface {
  const light = skin(random, seed);
  return drawSurface(size, (x, y, out) => {
    out.fill(light(x, y), 0, 3);
    out[3] = 1;
    out[4] = depthAt(size, 0.9) + (0.08 * size.spanSteps * y) / size.height;
  });
}

function stem(size: SceneSize, random: Random, seed: number): Strand {
  const [fromX, toX] = [random.between(0, size.width), random.between(0, size.width)];
  const [fromY, toY] = [random.between(0, size.height), random.between(0, size.height)];
  const [from, to] = [random.between(0, 0.8), random.between(0, 0.8)];
  const half = random.between(0.6, 3.5);
  const light = skin(random, seed);
  return makeStrand(
    (along) => ({
      x: fromX + along * (toX - fromX),
      y: fromY + along * (toY - fromY),
      depth: depthAt(size, from + along * (to - from)),
    }),
    () => half,
    (along, across, out) => {
      out.fill(light(along * 300, across * 2 * half), 0, 3);
      out[2] *= 0.6;
    },
  );
}

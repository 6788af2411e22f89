import { bakeStrands } from '../bake.js';
import { fillBehind } from '../fill-behind.js';
import { fromBytes, layeredNoise, mixColour, smoothNoise, smoothStep } from '../noise.js';
import { createRandom, type Random } from '../random.js';
import { depthAt, drawSurface, type Scene, type SceneSize, type Strand, type Surface } from '../scene.js';
import { makeStrand } from '../strand-path.js';

/** Places are given in a picture of 1200 x 800 with the origin in its middle, and scaled from there. */
interface Stage {
  size: SceneSize;
  scale: number;
  seed: number;
}

/** The dome that the seeds sit on: its middle, its radius, and the parts of the span at its top and its rim. */
const dome = { x: 0, y: 6, radius: 165, top: 0.4, rim: 0.84 };
const seedCount = 130;
/** Angle between one seed and the next around the dome: the golden angle. */
const turn = Math.PI * (3 - Math.sqrt(5));

/** A direction away from the middle of the dome; z towards the camera. */
interface Direction {
  x: number;
  y: number;
  z: number;
}

/** A dry seed head seen from the front: ribbed seeds all over a dome, fine pale hairs from their tips, a far ground. */
export function seedHead(size: SceneSize, seed: number): Scene {
  const stage: Stage = { size, scale: Math.min(size.width / 1200, size.height / 800), seed };
  const random = createRandom(seed, 'seed head');
  const directions = Array.from({ length: seedCount }, (_, i) => directionOf(i));
  const seeds = directions.map((direction, i) => ribbedSeed(stage, direction, i));
  const stem = makeStem(stage);
  const body = bakeStrands([...seeds, stem], size, 0.04);
  const hairs = directions.flatMap((direction) =>
    Array.from({ length: 1 + Math.floor(random.between(0, 2.2)) }, () => hair(stage, direction, random)),
  );
  const top = fromBytes(62, 78, 66);
  const bottom = fromBytes(128, 124, 86);
  return {
    surfaces: [body, fillBehind(body, size, size.margin), domeSurface(stage)],
    strands: hairs,
    backdrop: {
      depth: depthAt(size, 1) + 80,
      colour: (x, y, out) =>
        out.set(mixColour(top, bottom, smoothStep(-0.1, 1.2, y + 0.22 * Math.sin(2.4 * x - 0.5)))),
    },
  };
}

/** The n-th of points spread evenly over the dome, from the top to a little behind the rim. */
function directionOf(n: number): Direction {
  const z = 1 - (1.12 * (n + 0.5)) / seedCount;
  const around = n * turn;
  const side = Math.sqrt(1 - z * z);
  return { x: side * Math.cos(around), y: side * Math.sin(around), z };
}

/** A place at `far` dome radii from the dome's middle, as anchor pixels and steps. */
function placeAt(
  { size, scale }: Stage,
  { x, y, z }: Direction,
  far: number,
): { x: number; y: number; depth: number } {
  return {
    x: (dome.x + dome.radius * far * x) * scale + (size.width - 1) / 2,
    y: (dome.y + dome.radius * far * y) * scale + (size.height - 1) / 2,
    depth: depthAt(size, dome.rim - (dome.rim - dome.top) * far * z),
  };
}

function ribbedSeed(stage: Stage, direction: Direction, index: number): Strand {
  const random = createRandom(stage.seed, `seed ${index}`);
  const length = random.between(0.36, 0.5);
  const half = random.between(13.5, 17) * stage.scale;
  const husk = mixColour(fromBytes(92, 58, 30), fromBytes(190, 138, 74), random.unit());
  const groove = mixColour(husk, fromBytes(34, 22, 14), 0.72);
  const shine = mixColour(husk, fromBytes(250, 232, 190), 0.55);
  // Light from the upper left and the front.
  const facing = 0.55 + 0.45 * Math.max(-0.6, -0.5 * direction.x - 0.6 * direction.y + 0.6 * direction.z);
  const ribs = 3 + Math.floor(random.between(0, 2));
  return makeStrand(
    (along) => placeAt(stage, direction, 0.9 + length * along),
    (along) => half * Math.max(0.16, Math.sin(Math.PI * Math.min(1, 0.2 + 0.8 * along)) ** 0.8),
    (along, across, out) => {
      const rib = 0.5 + 0.5 * Math.cos(Math.asin(across) * 2 * ribs);
      const grain = smoothNoise(along * 16 + index * 7, across * 5, stage.seed + 11);
      const round = 1 - 0.55 * across * across - 0.2 * Math.max(0, across);
      const body = mixColour(groove, husk, Math.min(1, Math.max(0, 0.25 + 0.85 * rib + 0.25 * grain)));
      const lit = mixColour(body, shine, 0.4 * rib * smoothStep(0.5, 0.1, Math.abs(across + 0.35)));
      for (let channel = 0; channel < 3; channel++) {
        out[channel] = lit[channel] * facing * round * (0.6 + 0.4 * smoothStep(0, 0.5, along));
      }
    },
    2,
  );
}

function hair(stage: Stage, direction: Direction, random: Random): Strand {
  const { size, scale } = stage;
  const length = random.between(0.9, 2);
  const spread = () => random.between(-0.28, 0.28);
  const tip = { x: direction.x + spread(), y: direction.y + spread(), z: direction.z + spread() };
  const curl = { x: spread() * 0.35, y: spread() * 0.35 - 0.06, z: spread() };
  const half = random.between(0.5, 1) * Math.max(0.7, scale);
  const root = fromBytes(198, 176, 128);
  const end = fromBytes(250, 246, 232);
  return makeStrand(
    (along) => {
      const bent = {
        x: direction.x + (tip.x - direction.x) * along + curl.x * along * along,
        y: direction.y + (tip.y - direction.y) * along + curl.y * along * along,
        z: direction.z + (tip.z - direction.z) * along + curl.z * along * along,
      };
      const place = placeAt(stage, bent, 1.28 + length * along);
      // Hairs bend before they would leave the span of the stack.
      const part = (place.depth + size.nearSteps) / Math.max(1, size.spanSteps);
      return { ...place, depth: depthAt(size, softly(part)) };
    },
    (along) => Math.max(0.4, half * (1 - 0.5 * along)),
    (along, _, out) => out.set(mixColour(root, end, smoothStep(0, 0.6, along))),
  );
}

/** Bends a part of the span so that it stays between 0.03 and 0.97; the middle is left as it is. */
function softly(part: number): number {
  const limit = 0.47;
  const off = part - 0.5;
  const inner = 0.3;
  if (Math.abs(off) <= inner) return part;
  const room = limit - inner;
  return 0.5 + Math.sign(off) * (inner + room * Math.tanh((Math.abs(off) - inner) / room));
}

function makeStem(stage: Stage): Strand {
  const { size, scale, seed } = stage;
  const dark = fromBytes(48, 44, 26);
  const light = fromBytes(150, 138, 84);
  return makeStrand(
    (along) => ({
      x: (dome.x + 46 * along * along) * scale + (size.width - 1) / 2,
      y: (dome.y + 60 + 420 * along) * scale + (size.height - 1) / 2,
      depth: depthAt(size, 0.9 + 0.04 * along),
    }),
    () => 15 * scale,
    (along, across, out) => {
      const grain = layeredNoise(along * 60, across * 4, 3, 0.6, seed + 21);
      const tone = (0.62 + 0.4 * grain) * (1 - 0.6 * across * across);
      out.set(mixColour(dark, light, Math.min(1, Math.max(0, tone))));
    },
  );
}

/** The dark felt between the seeds. */
function domeSurface(stage: Stage): Surface {
  const { size, scale, seed } = stage;
  const dark = fromBytes(26, 18, 12);
  const light = fromBytes(112, 84, 52);
  return drawSurface(size, (pixelX, pixelY, out) => {
    const x = (pixelX - (size.width - 1) / 2) / scale - dome.x;
    const y = (pixelY - (size.height - 1) / 2) / scale - dome.y;
    const radius = Math.hypot(x, y) / (0.96 * dome.radius);
    out[3] = (1 - radius) * dome.radius * scale + 0.5;
    const height = Math.sqrt(Math.max(0, 1 - Math.min(1, radius) ** 2));
    out[4] = depthAt(size, dome.rim - (dome.rim - dome.top) * 0.9 * height) + 0.4;
    if (out[3] <= 0) return;
    const fibre =
      layeredNoise(x / 7, y / 7, 3, 0.7, seed + 31) +
      0.4 * smoothNoise(pixelX / 3.1, pixelY / 3.1, seed + 32);
    out.set(mixColour(dark, light, Math.min(1, Math.max(0, 0.35 + 0.5 * fibre))));
  });
}

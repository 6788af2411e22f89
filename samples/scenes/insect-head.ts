import { fromBytes, layeredNoise, mixColour, smoothNoise, smoothStep } from '../noise.js';
import { createRandom, type Random } from '../random.js';
import { depthAt, drawSurface, type Scene, type SceneSize, type Strand, type Surface } from '../scene.js';
import { makeStrand } from '../strand-path.js';
import { facetAt } from './facets.js';

/** Places are given in a picture of 1600 x 1200 with the origin in its middle, and scaled from there. */
interface Stage {
  size: SceneSize;
  scale: number;
  seed: number;
}

const head = { x: 0, y: 90, halfWidth: 360, halfHeight: 470, near: 0.42, fall: 0.5 };
const eyes = [-1, 1].map((side) => ({
  side,
  x: 300 * side,
  y: -60,
  halfWidth: 235,
  halfHeight: 320,
  turn: 0.2 * side,
  near: 0.16,
  fall: 0.52,
}));
type Eye = (typeof eyes)[number];

/** The head of a made-up insect: facetted eyes, bristles before them, a rough face, feelers, a far smooth ground. */
export function insectHead(size: SceneSize, seed: number): Scene {
  const stage: Stage = { size, scale: Math.min(size.width / 1600, size.height / 1200), seed };
  const face = drawFace(stage);
  const eyePair = drawEyes(stage);
  cutBehind(eyePair, face);
  const random = createRandom(seed, 'bristles');
  const strands = [
    ...[-1, 1].map((side) => feeler(stage, side)),
    ...[-1, 1].map((side) => palp(stage, side)),
    ...Array.from({ length: 70 }, (_, i) => bristle(stage, random, i)),
  ];
  const top = fromBytes(150, 172, 176);
  const bottom = fromBytes(112, 134, 118);
  return {
    surfaces: [eyePair, face],
    strands,
    backdrop: {
      depth: depthAt(size, 1) + 90,
      colour: (x, y, out) =>
        out.set(mixColour(top, bottom, smoothStep(-0.2, 1.3, y + 0.15 * Math.sin(2.1 * x + 0.6)))),
    },
  };
}

/** From anchor pixels to the places of the 1600 x 1200 picture. */
function toStage({ size, scale }: Stage, x: number, y: number): [number, number] {
  return [(x - (size.width - 1) / 2) / scale, (y - (size.height - 1) / 2) / scale];
}

/** Part of the way from the middle of the face to its edge, 1 on the edge. */
function faceRadius(x: number, y: number): number {
  return Math.hypot((x - head.x) / head.halfWidth, (y - head.y) / head.halfHeight);
}

function facePart(x: number, y: number): number {
  return head.near + head.fall * Math.min(1.2, faceRadius(x, y)) ** 2.5;
}

/** Place in an eye, in its half widths and half heights. */
function inEye(eye: Eye, x: number, y: number): [number, number] {
  const u = (x - eye.x) * Math.cos(eye.turn) + (y - eye.y) * Math.sin(eye.turn);
  const v = (y - eye.y) * Math.cos(eye.turn) - (x - eye.x) * Math.sin(eye.turn);
  return [u / eye.halfWidth, v / eye.halfHeight];
}

function eyePart(eye: Eye, radius: number): number {
  const dome = 1 - Math.sqrt(1 - 0.95 * Math.min(1, radius) ** 2);
  return eye.near + (eye.fall * dome) / (1 - Math.sqrt(0.05)) + 0.3 * Math.max(0, radius - 1);
}

/** The nearest surface at a place: part of the span. */
function nearestPart(x: number, y: number): number {
  let part = faceRadius(x, y) < 1 ? facePart(x, y) : 1.2;
  for (const eye of eyes) {
    const radius = Math.hypot(...inEye(eye, x, y));
    if (radius < 1) part = Math.min(part, eyePart(eye, radius));
  }
  return part;
}

function drawFace(stage: Stage): Surface {
  const { seed, scale, size } = stage;
  const dark = fromBytes(52, 36, 28);
  const light = fromBytes(164, 118, 72);
  const dust = fromBytes(206, 190, 150);
  return drawSurface(size, (pixelX, pixelY, out) => {
    const [x, y] = toStage(stage, pixelX, pixelY);
    const radius = faceRadius(x, y);
    out[3] = (1 - radius) * head.halfWidth * scale + 0.5;
    out[4] = depthAt(size, facePart(x, y)) + 0.25 * layeredNoise(x / 30, y / 30, 3, 0.6, seed + 40);
    if (out[3] <= 0) return;
    const coarse = layeredNoise(x / 70, y / 70, 4, 0.65, seed + 30);
    const grain = smoothNoise(pixelX / 3.2, pixelY / 3.2, seed + 31);
    const pit = smoothStep(0.25, 0.6, layeredNoise(x / 11, y / 11, 2, 0.5, seed + 32));
    const tone = 0.42 + 0.5 * coarse + 0.14 * grain - 0.45 * pit;
    const shade = 1 - 0.55 * radius ** 3;
    const skin = mixColour(dark, light, Math.min(1, Math.max(0, tone)));
    const pale = smoothStep(0.45, 0.8, layeredNoise(x / 5, y / 5, 2, 0.6, seed + 33)) * 0.5;
    const colour = mixColour(skin, dust, pale);
    for (let channel = 0; channel < 3; channel++) out[channel] = colour[channel] * shade;
  });
}

function drawEyes(stage: Stage): Surface {
  const { seed, scale, size } = stage;
  const red = fromBytes(150, 44, 26);
  const gold = fromBytes(214, 164, 58);
  const green = fromBytes(52, 112, 70);
  const glint = fromBytes(255, 240, 214);
  return drawSurface(size, (pixelX, pixelY, out) => {
    const [x, y] = toStage(stage, pixelX, pixelY);
    const eye = x < 0 ? eyes[0] : eyes[1];
    const [u, v] = inEye(eye, x, y);
    const radius = Math.hypot(u, v);
    out[3] = (1 - radius) * eye.halfWidth * scale + 0.5;
    out[4] = depthAt(size, eyePart(eye, radius));
    if (out[3] <= 0) return;
    // On the dome facets are equal; seen from the front they close up towards the rim.
    const bend = radius > 1e-6 ? Math.asin(0.97 * Math.min(1, radius)) / (1.32 * radius) : 0.97 / 1.32;
    const facet = facetAt(u * bend * eye.halfWidth * 1.3, v * bend * eye.halfHeight * 1.3, 17);
    const clear = smoothStep(0.99, 0.9, radius);
    const wall = smoothStep(1, 0.78, facet.edge) * clear + (1 - clear) * 0.75;
    const band =
      0.5 + 0.5 * Math.sin(5.2 * v + 1.3 * Math.sin(3 * u) + 0.6 * layeredNoise(u * 2, v * 2, 2, 0.5, seed));
    const hue = band < 0.5 ? mixColour(red, gold, 2 * band) : mixColour(gold, green, 2 * band - 1);
    const own = 0.82 + 0.36 * facet.random;
    const lit = (0.25 + 0.75 * wall) * own * (1 - 0.5 * radius ** 4);
    const spot = 0.55 * smoothStep(0.36, 0.12, Math.hypot(facet.u + 0.16, facet.v + 0.2)) * clear;
    const grain = 1 + 0.08 * smoothNoise(pixelX / 3, pixelY / 3, seed + 50);
    for (let channel = 0; channel < 3; channel++) {
      out[channel] = hue[channel] * lit * grain * (1 - spot) + 0.6 * glint[channel] * spot;
    }
    out[4] += 0.12 * facet.edge * clear;
  });
}

/** Takes away what of a surface lies behind another: it would share a slab of depth with it along the seam. */
function cutBehind(surface: Surface, other: Surface): void {
  for (let i = 0; i < surface.depth.length; i++) {
    if (other.rgba[4 * i + 3] === 0) continue;
    const keep = 1 - smoothStep(-0.06, 0.06, surface.depth[i] - other.depth[i]) * other.rgba[4 * i + 3];
    for (let channel = 0; channel < 4; channel++) surface.rgba[4 * i + channel] *= keep;
  }
}

/** A bristle rooted beside an eye and bent across it, everywhere before what lies behind it. */
function bristle(stage: Stage, random: Random, index: number): Strand {
  const { size, scale } = stage;
  const eye = eyes[index % 2];
  const across = index < 50;
  const angle = random.between(0, 2 * Math.PI);
  const rootX = across
    ? eye.x + eye.halfWidth * random.between(0.75, 1.02) * Math.cos(angle)
    : head.x + head.halfWidth * random.between(-0.5, 0.5);
  const rootY = across
    ? eye.y + eye.halfHeight * random.between(0.75, 1.02) * Math.sin(angle)
    : head.y + head.halfHeight * random.between(-0.6, 0.8);
  const inward = across ? angle + Math.PI + random.between(-0.8, 0.8) : random.between(0, 2 * Math.PI);
  const length = random.between(170, 420);
  const bend = random.between(-0.3, 0.3) * length;
  const lift = random.between(0.08, 0.42);
  const half = random.between(0.5, 1.5) * Math.max(0.8, scale);
  const pale = random.unit() < 0.3;
  const body = pale ? fromBytes(206, 186, 140) : fromBytes(38, 27, 22);
  const shine = pale ? fromBytes(250, 240, 216) : fromBytes(128, 106, 88);
  return makeStrand(
    (along) => {
      const sag = bend * along * along;
      const x = rootX + length * along * Math.cos(inward) - sag * Math.sin(inward);
      const y = rootY + length * along * Math.sin(inward) + sag * Math.cos(inward);
      const part = Math.min(
        nearestPart(rootX, rootY) - lift * along,
        nearestPart(x, y) - 0.05 * Math.min(1, 5 * along),
      );
      return {
        x: x * scale + (size.width - 1) / 2,
        y: y * scale + (size.height - 1) / 2,
        depth: depthAt(size, Math.max(0.02, part)),
      };
    },
    (along) => Math.max(0.5, half * (1 - 0.45 * along)),
    (_, side, out) => out.set(mixColour(body, shine, 0.4 * smoothStep(1.2, 0, Math.abs(side + 0.3)))),
  );
}

function feeler(stage: Stage, side: number): Strand {
  const { size, scale, seed } = stage;
  const dark = fromBytes(60, 40, 28);
  const light = fromBytes(196, 150, 92);
  return makeStrand(
    (along) => ({
      x: side * (58 + 170 * along + 110 * along * along) * scale + (size.width - 1) / 2,
      y: (-215 - 390 * along + 55 * along * along) * scale + (size.height - 1) / 2,
      depth: depthAt(size, 0.38 - 0.34 * along),
    }),
    (along) => (12 - 6 * along + 1.6 * Math.abs(Math.sin(along * 14 * Math.PI)) ** 0.5) * scale,
    (along, across, out) => {
      const ring = Math.abs(Math.sin(along * 14 * Math.PI));
      const grain = smoothNoise(along * 130, across * 3.5, seed + 60 + side);
      const tone = (0.25 + 0.5 * smoothStep(0, 0.5, ring)) * (1 - 0.7 * across * across) + 0.16 * grain;
      out.set(mixColour(dark, light, Math.min(1, Math.max(0, tone))));
    },
  );
}

function palp(stage: Stage, side: number): Strand {
  const { size, scale, seed } = stage;
  const dark = fromBytes(44, 30, 24);
  const light = fromBytes(178, 132, 84);
  return makeStrand(
    (along) => ({
      x: side * (60 + 80 * Math.sin(2.2 * along)) * scale + (size.width - 1) / 2,
      y: (400 + 170 * along) * scale + (size.height - 1) / 2,
      depth: depthAt(size, 0.5 - 0.28 * along),
    }),
    (along) => (19 - 8 * along) * scale,
    (along, across, out) => {
      const grain =
        smoothNoise(along * 50, across * 4, seed + 70 + side) +
        smoothNoise(along * 21, across * 2, seed + 80);
      const tone = 0.6 * (1 - 0.75 * across * across) + 0.2 * grain;
      out.set(mixColour(dark, light, Math.min(1, Math.max(0, tone))));
    },
  );
}

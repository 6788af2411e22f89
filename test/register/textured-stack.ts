import {
  applyMatrix,
  invertMatrix,
  type Matrix3,
  type Similarity,
  similarityMatrix,
} from '../../src/image/transform.js';
import type { ReducedFrame } from '../../src/register/reduced-frame.js';

/** A reproducible stream of numbers in [0, 1): mulberry32 (public domain, T. Ettinger). */
export function seededRandom(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), state | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

export function normalRandom(random: () => number): number {
  return Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
}

export interface StackPlan {
  width: number;
  height: number;
  frameCount: number;
  seed: number;
  /** Growth of a fixed thing's picture for one step of the rail. */
  growthPerStep: number;
  /** Standard deviations of the jitter. */
  jitterPx: number;
  rollRad: number;
  flicker: number;
  /** Half range of the irregularity of steps, as a share. */
  irregularity: number;
  noise: number;
  /** Frames (index) blurred by a straight shake of this many pixels. */
  shaken?: { index: number; lengthPx: number } | undefined;
  /** Draw the perspective of a moving camera: things off the plane of focus are scaled by their own distance. */
  perspective?: boolean;
  /** Depth of the subject against the travel of the focus; 1 without it. */
  relief?: number;
  /** Standard deviation of the blur that a step out of focus adds, px; 0.45 without it. */
  blurPerStep?: number;
  channels?: 1 | 3;
  bits?: 8 | 16;
  anchor: number;
}

/** A stack drawn from a formula, so that any place can be sampled exactly, with everything known. */
export interface TexturedStack {
  plan: StackPlan;
  /** Frame -> anchor about the centre, for what lies in the frame's plane of focus. */
  truth: Similarity[];
  matrices: Matrix3[];
  gains: number[][];
  draw(index: number): ReducedFrame;
}

/** Wavelengths of the texture's octaves in pixels, and their amplitudes. */
const octaves = [
  { wave: 4, amplitude: 18 },
  { wave: 8, amplitude: 16 },
  { wave: 17, amplitude: 16 },
  { wave: 41, amplitude: 14 },
];
const latticeSide = 512;

/** Smooth noise: a cubic B-spline over a lattice of random values with half a wavelength between them. */
function createNoise(seed: number): (x: number, y: number) => number {
  const random = seededRandom(seed);
  const lattice = Float32Array.from({ length: latticeSide * latticeSide }, () => 3.4 * (random() - 0.5));
  const mask = latticeSide - 1;
  return (x, y) => {
    const i = Math.floor(x);
    const j = Math.floor(y);
    const s = x - i;
    const t = y - j;
    const a0 = (1 - s) ** 3 / 6;
    const a1 = (3 * s * s * s - 6 * s * s + 4) / 6;
    const a3 = (s * s * s) / 6;
    const a2 = 1 - a0 - a1 - a3;
    let sum = 0;
    for (let k = 0; k < 4; k++) {
      const b =
        k === 0
          ? (1 - t) ** 3 / 6
          : k === 1
            ? (3 * t * t * t - 6 * t * t + 4) / 6
            : k === 2
              ? (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6
              : (t * t * t) / 6;
      const row = ((j + k - 1) & mask) * latticeSide;
      sum +=
        b *
        (a0 * lattice[row + ((i - 1) & mask)] +
          a1 * lattice[row + (i & mask)] +
          a2 * lattice[row + ((i + 1) & mask)] +
          a3 * lattice[row + ((i + 2) & mask)]);
    }
    return sum;
  };
}

/** Texture samples per pixel of the anchor, and the border drawn around the anchor's frame, pixels. */
const oversampling = 2;
const border = 48;
/** Standard deviation of the blur in focus, px, and the ratio of one stored blur to the next. */
const softness = 0.4;
const blurRatio = 1.5;

/**
 * The texture at a row of Gaussian blurs. A blur between two of them is their mixture, weighted so that its variance
 * is right: a symmetric kernel too.
 */
class BlurredTexture {
  readonly #width: number;
  readonly #height: number;
  readonly #planes: Float32Array[] = [];
  readonly #variances: number[] = [];

  constructor(width: number, height: number, seed: number, widest: number) {
    this.#width = (width + 2 * border) * oversampling;
    this.#height = (height + 2 * border) * oversampling;
    const noises = octaves.map((_, i) => createNoise(seed * 31 + i));
    let plane = new Float32Array(this.#width * this.#height);
    for (let y = 0, i = 0; y < this.#height; y++) {
      for (let x = 0; x < this.#width; x++, i++) {
        octaves.forEach(({ wave, amplitude }, o) => {
          const scale = 2 / (wave * oversampling);
          plane[i] += amplitude * noises[o](x * scale + 57 * o, y * scale);
        });
      }
    }
    for (let sigma = softness, reached = 0; ; sigma *= blurRatio) {
      plane = gaussian(plane, this.#width, this.#height, Math.sqrt(sigma ** 2 - reached ** 2) * oversampling);
      reached = sigma;
      this.#planes.push(plane);
      this.#variances.push(sigma ** 2);
      if (sigma > widest) break;
    }
  }

  /** Value at (x, y) of the anchor's frame with a blur of this variance, px^2. */
  at(x: number, y: number, variance: number): number {
    let k = 0;
    while (k + 2 < this.#planes.length && this.#variances[k + 1] < variance) k++;
    const low = this.#variances[k];
    const part = Math.min(1, Math.max(0, (variance - low) / (this.#variances[k + 1] - low)));
    const tx = (x + border) * oversampling;
    const ty = (y + border) * oversampling;
    return (
      (1 - part) * this.#sample(this.#planes[k], tx, ty) + part * this.#sample(this.#planes[k + 1], tx, ty)
    );
  }

  #sample(plane: Float32Array, tx: number, ty: number): number {
    const x = Math.min(this.#width - 3, Math.max(1, Math.floor(tx)));
    const y = Math.min(this.#height - 3, Math.max(1, Math.floor(ty)));
    const s = tx - x;
    const t = ty - y;
    let sum = 0;
    for (let row = 0; row < 4; row++) {
      const i = (y + row - 1) * this.#width + x;
      const line =
        plane[i] +
        0.5 *
          s *
          (plane[i + 1] -
            plane[i - 1] +
            s *
              (2 * plane[i - 1] -
                5 * plane[i] +
                4 * plane[i + 1] -
                plane[i + 2] +
                s * (3 * (plane[i] - plane[i + 1]) + plane[i + 2] - plane[i - 1])));
      const weight = [
        0.5 * t * (2 * t - 1 - t * t),
        1 + 0.5 * t * t * (3 * t - 5),
        0.5 * t * (1 + 4 * t - 3 * t * t),
        0.5 * t * t * (t - 1),
      ][row];
      sum += weight * line;
    }
    return sum;
  }
}

function gaussian(
  source: Float32Array,
  width: number,
  height: number,
  sigma: number,
): Float32Array<ArrayBuffer> {
  const reach = Math.ceil(3.5 * sigma);
  const kernel = Float64Array.from({ length: 2 * reach + 1 }, (_, i) =>
    Math.exp(-0.5 * ((i - reach) / sigma) ** 2),
  );
  const total = kernel.reduce((sum, value) => sum + value, 0);
  const rows = new Float32Array(source.length);
  const out = new Float32Array(source.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let k = -reach; k <= reach; k++) {
        sum += kernel[k + reach] * source[y * width + Math.min(width - 1, Math.max(0, x + k))];
      }
      rows[y * width + x] = sum / total;
    }
  }
  for (let y = 0; y < height; y++) {
    const line = out.subarray(y * width, (y + 1) * width);
    for (let k = -reach; k <= reach; k++) {
      const from = Math.min(height - 1, Math.max(0, y + k)) * width;
      const w = kernel[k + reach] / total;
      for (let x = 0; x < width; x++) line[x] += w * rows[from + x];
    }
  }
  return out;
}

export function createTexturedStack(plan: StackPlan): TexturedStack {
  const { width, height, frameCount, seed, growthPerStep, anchor, blurPerStep = 0.45 } = plan;
  const random = seededRandom(seed);
  const positions: number[] = [];
  for (let k = 0, position = 0; k < frameCount; k++) {
    positions.push(position);
    position += 1 + plan.irregularity * (2 * random() - 1);
  }
  const origin = positions[anchor];
  const poses = positions.map((position) => ({
    position: position - origin,
    shiftXPx: plan.jitterPx * normalRandom(random),
    shiftYPx: plan.jitterPx * normalRandom(random),
    rollRad: plan.rollRad * normalRandom(random),
  }));
  const flickers = positions.map(() =>
    [0, 1, 2].map((_, c) => 1 + plan.flicker * normalRandom(random) * (c === 0 ? 1 : 0.3)),
  );
  const gains = flickers.map((own) =>
    own
      .slice(0, plan.channels ?? 1)
      .map((_, c) => (flickers[anchor][0] * (c ? flickers[anchor][c] : 1)) / (own[0] * (c ? own[c] : 1))),
  );
  const texture = new BlurredTexture(width, height, seed, 6);
  const depthNoise = createNoise(seed * 31 + 97);
  // Depth in steps about the anchor's plane: a slope with bumps, across all planes of focus.
  const span = frameCount * (plan.relief ?? 1);
  const depth = (x: number, y: number) =>
    (x / width - 0.5) * 0.7 * span +
    (y / height - 0.5) * 0.3 * span +
    0.2 * span * depthNoise(x / 90, y / 90) +
    (frameCount - 1) / 2 -
    anchor;
  const distance = 1 / growthPerStep;
  const scaleOf = (k: number, z: number) => (distance + z - poses[k].position) / (distance + z);
  // pixel of the frame -> jitter undone -> scaled about the centre -> the anchor's jitter
  const jitter = (k: number) => similarityMatrix({ scale: 1, ...poses[k] }, width, height);
  const cx = (width - 1) / 2;
  const cy = (height - 1) / 2;
  const truth = poses.map((pose, k): Similarity => {
    const scale = scaleOf(k, pose.position);
    const own = invertMatrix(jitter(k));
    const [x0, y0] = applyMatrix(own, cx, cy);
    const [x, y] = applyMatrix(jitter(anchor), cx + scale * (x0 - cx), cy + scale * (y0 - cy));
    return { scale, rollRad: poses[anchor].rollRad - pose.rollRad, shiftXPx: x - cx, shiftYPx: y - cy };
  });
  const matrices = truth.map((s) => similarityMatrix(s, width, height));

  const draw = (index: number): ReducedFrame => {
    const channels = plan.channels ?? 1;
    const bits = plan.bits ?? 8;
    const full = bits === 16 ? 65535 : 255;
    const undo = invertMatrix(jitter(index));
    const { position } = poses[index];
    const focusScale = scaleOf(index, position);
    let grey = new Float64Array(width * height);
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const [sx, sy] = applyMatrix(undo, x, y);
        let qx = cx + focusScale * (sx - cx);
        let qy = cy + focusScale * (sy - cy);
        let z = depth(qx, qy);
        if (plan.perspective) {
          for (let round = 0; round < 2; round++) {
            const scale = scaleOf(index, z);
            qx = cx + scale * (sx - cx);
            qy = cy + scale * (sy - cy);
            z = depth(qx, qy);
          }
        }
        // A point of a slanted surface is blurred unlike its neighbours: the mean over a symmetric aperture is
        // div(s grad), s = half the variance, that is blur about a place moved by the gradient of s.
        const off = z - position;
        const variance = softness ** 2 + (blurPerStep * off) ** 2;
        const moved = blurPerStep * blurPerStep * off;
        qx += moved * (depth(qx + 0.5, qy) - depth(qx - 0.5, qy));
        qy += moved * (depth(qx, qy + 0.5) - depth(qx, qy - 0.5));
        grey[y * width + x] = 95 + texture.at(qx, qy, variance);
      }
    }
    if (plan.shaken?.index === index) grey = shake(grey, width, height, plan.shaken.lengthPx);
    const noise = seededRandom(seed * 1009 + index);
    const tints = channels === 1 ? [1] : [1, 0.85, 0.6];
    const pixels =
      bits === 16 ? new Uint16Array(width * height * channels) : new Uint8Array(width * height * channels);
    for (let i = 0; i < width * height; i++) {
      for (let c = 0; c < channels; c++) {
        const light = encode(grey[i] * tints[c]) * flickers[index][0] * (c ? flickers[index][c] : 1);
        const value = (light + plan.noise * normalRandom(noise)) * (full / 255);
        pixels[i * channels + c] = Math.min(full, Math.max(0, Math.round(value)));
      }
    }
    return { number: index + 1, pixels, width, height, channels, bits, factor: 1 };
  };
  return { plan, truth, matrices, gains, draw };
}

/** IEC 61966-2-1 (sRGB) encoding of linear light, both 0 to 255. */
function encode(light: number): number {
  const share = Math.max(0, light / 255);
  return 255 * (share <= 0.0031308 ? 12.92 * share : 1.055 * share ** (1 / 2.4) - 0.055);
}

/** A straight diagonal shake, symmetric about the frame's place. */
function shake(
  grey: Float64Array,
  width: number,
  height: number,
  lengthPx: number,
): Float64Array<ArrayBuffer> {
  const half = Math.round(lengthPx / 2);
  const out = new Float64Array(grey.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let s = -half; s <= half; s++) {
        const px = Math.min(width - 1, Math.max(0, x + s));
        const py = Math.min(height - 1, Math.max(0, y + Math.trunc(s / 2)));
        sum += grey[py * width + px];
      }
      out[y * width + x] = sum / (2 * half + 1);
    }
  }
  return out;
}

/** Largest distance of the four corners of a frame carried by two matrices, px. */
export function cornerError(found: Matrix3, truth: Matrix3, width: number, height: number): number {
  let worst = 0;
  for (const x of [0, width - 1]) {
    for (const y of [0, height - 1]) {
      const [fx, fy] = applyMatrix(found, x, y);
      const [tx, ty] = applyMatrix(truth, x, y);
      worst = Math.max(worst, Math.hypot(fx - tx, fy - ty));
    }
  }
  return worst;
}

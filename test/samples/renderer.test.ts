import ops from 'ndarray-ops';
import { describe, expect, it } from 'vitest';
import { blurDiameterPx, frameToAnchor, type Optics } from '../../samples/camera.js';
import { createRenderer, planRender, type RenderPlan } from '../../samples/renderer.js';
import { drawSurface, type Scene, type Surface } from '../../samples/scene.js';
import { planShots, type ShootOptions, type Shot } from '../../samples/shoot.js';
import { makeStrand } from '../../samples/strand-path.js';
import { applyMatrix } from '../../src/image/transform.js';
import { viewOf } from '../../src/image/view.js';

const optics: Optics = { focalLengthMm: 50, fNumber: 5.6, magnification: 2.5, pixelPitchUm: 4 };
const stepMm = 0.035;
const width = 120;
const height = 90;
const size = { width, height };
const calm: ShootOptions = {
  shiftPx: 0,
  rollDeg: 0,
  flickerPercent: 0,
  irregularPercent: 0,
  breathingPercent: 0,
  blurredFrames: 0,
  smearPx: 0,
  order: 'near-to-far',
};

function setUp(options: Partial<ShootOptions> = {}, frames = 9): { shots: Shot[]; plan: RenderPlan } {
  const shots = planShots(frames, stepMm, { ...calm, ...options }, 5);
  return { shots, plan: planRender(width, height, optics, stepMm, shots) };
}

/** A surface of one colour; `depth` and `cover` by anchor pixel. */
function flat(
  plan: RenderPlan,
  colour: [number, number, number],
  depth: (x: number, y: number) => number,
  cover: (x: number, y: number) => number = () => 1,
): Surface {
  return drawSurface(plan.size, (x, y, out) => {
    out.set(colour);
    out[3] = cover(x, y);
    out[4] = depth(x, y);
  });
}

/** Sum, centroid and mean square distance along x of the red light over a black ground. */
function moments(linear: Float32Array): { sum: number; x: number; y: number; varianceX: number } {
  let sum = 0;
  let x = 0;
  let y = 0;
  let square = 0;
  for (let i = 0; i < linear.length / 3; i++) {
    const light = linear[3 * i];
    sum += light;
    x += light * (i % width);
    y += light * Math.floor(i / width);
    square += light * (i % width) ** 2;
  }
  return { sum, x: x / sum, y: y / sum, varianceX: square / sum - (x / sum) ** 2 };
}

const black = { depth: 200, colour: (_x: number, _y: number, out: Float64Array) => void out.fill(0) };

/** A soft spot of light, about 3 px wide, at a place and depth; returns the scene. */
function spotScene(plan: RenderPlan, x: number, y: number, depth: number): Scene {
  const spot = drawSurface(plan.size, (px, py, out) => {
    out.fill(0);
    out[0] = 0.9;
    out[3] = Math.exp(-((px - x) ** 2 + (py - y) ** 2) / 3);
    if (out[3] < 1e-4) out[3] = 0;
    out[4] = depth;
  });
  return { surfaces: [spot], strands: [], backdrop: black };
}

describe('renderer', () => {
  it('keeps a point of the plane of focus in place under the recorded transform', () => {
    const { shots, plan } = setUp({ shiftPx: 3, rollDeg: 0.5, irregularPercent: 20 });
    for (const k of [0, 2, 8]) {
      const depth = shots[k].pose.positionMm / stepMm;
      const renderer = createRenderer(spotScene(plan, 31, 22, depth), plan);
      const inFrame = moments(renderer.drawFrame(shots[k]).linear);
      const inAnchor = moments(renderer.drawTruth(shots[4].pose).linear);
      const [x, y] = applyMatrix(
        frameToAnchor(optics, shots[k].pose, shots[4].pose, width, height),
        inFrame.x,
        inFrame.y,
      );
      expect(Math.hypot(x - inAnchor.x, y - inAnchor.y)).toBeLessThan(0.01);
      expect(Math.hypot(inFrame.x - inAnchor.x, inFrame.y - inAnchor.y)).toBeGreaterThan(0.3);
    }
  });

  it('moves what lies off the plane of focus by its own parallax', () => {
    const { shots, plan } = setUp({}, 33);
    // Lens to point, before and after the rail moved by 16 steps.
    const depth = 12;
    const before = 70 + depth * stepMm;
    const after = before - shots[32].pose.positionMm;
    const renderer = createRenderer(spotScene(plan, 15, 45, depth), plan);
    const seen = moments(renderer.drawFrame(shots[32]).linear);
    const centre = (width - 1) / 2;
    expect(seen.x).toBeCloseTo(centre + ((15 - centre) * before) / after, 1);
  });

  it('spreads a lone point by the thin lens formula, and loses no light', () => {
    const { shots, plan } = setUp({}, 33);
    const renderer = createRenderer(spotScene(plan, 60, 45, 0), plan);
    const sharp = moments(renderer.drawFrame(shots[16]).linear);
    for (const k of [14, 15, 18, 20, 24, 28]) {
      const blurred = moments(renderer.drawFrame(shots[k]).linear);
      const diameter = blurDiameterPx(optics, -shots[k].pose.positionMm);
      // A disc of diameter c has the second moment c²/16 along an axis.
      const measured = Math.sqrt(16 * (blurred.varianceX - sharp.varianceX));
      expect(Math.abs(measured / diameter - 1)).toBeLessThan(0.03);
      expect(Math.abs(blurred.sum / sharp.sum - 1)).toBeLessThan(0.015);
    }
  });

  it('keeps an even colour even on slopes and across every slab of depth', () => {
    const { shots, plan } = setUp({ shiftPx: 2, rollDeg: 0.3 }, 17);
    const colour: [number, number, number] = [0.4, 0.2, 0.6];
    const other = { depth: 200, colour: (_x: number, _y: number, out: Float64Array) => void out.fill(1) };
    const slope = flat(plan, colour, (x, y) => Math.max(-9, Math.min(9, x / 9 - 7 + 0.6 * Math.sin(y / 6))));
    const renderer = createRenderer({ surfaces: [slope], strands: [], backdrop: other }, plan);
    for (const k of [0, 8, 15]) {
      const { linear } = renderer.drawFrame(shots[k]);
      const worst = linear.reduce((most, value, i) => Math.max(most, Math.abs(value - colour[i % 3])), 0);
      expect(worst).toBeLessThan(0.002);
    }
  });

  it('hides a blurred far thing behind a sharp near edge', () => {
    const { shots, plan } = setUp({}, 33);
    const near = flat(
      plan,
      [0, 0.5, 0],
      () => -10,
      (x) => (x < 60 ? 1 : 0),
    );
    const far = flat(plan, [0.9, 0, 0], () => 10);
    const { linear } = createRenderer({ surfaces: [near, far], strands: [] }, plan).drawFrame(shots[6]);
    const red = viewOf(linear, size, 3).pick(45, null, 0);
    expect(ops.sup(red.hi(57))).toBeLessThan(1e-3);
    expect(ops.inf(red.lo(63))).toBeCloseTo(0.9, 2);
    expect(ops.sup(red.lo(63))).toBeCloseTo(0.9, 2);
  });

  it('lets a sharp far thing shine through a blurred near edge', () => {
    const { shots, plan } = setUp({}, 33);
    const near = flat(
      plan,
      [0, 0.5, 0],
      () => -10,
      (x) => (x < 60 ? 1 : 0),
    );
    const far = flat(plan, [0.9, 0, 0], () => 10);
    const { linear } = createRenderer({ surfaces: [near, far], strands: [] }, plan).drawFrame(shots[26]);
    const radius = blurDiameterPx(optics, -20 * stepMm) / 2;
    const picture = viewOf(linear, size, 3);
    const red = (x: number) => picture.get(45, Math.round(x), 0) / 0.9;
    // The near edge moves with the rail; its middle is where half of the lens is covered.
    let edge = 0;
    while (red(edge) < 0.5) edge++;
    expect(Math.abs(edge - 59.5)).toBeLessThan(1.5);
    // Half way out, the chord of a disc leaves 1/2 + (asin(1/2) + (1/2) sqrt(3/4)) / pi = 0.8045 free.
    expect(Math.abs(red(edge + radius / 2) - 0.8045)).toBeLessThan(0.03);
    expect(Math.abs(red(edge - radius / 2) - 0.1955)).toBeLessThan(0.03);
  });

  it('draws strands over what is behind them and records their depth', () => {
    const { plan, shots } = setUp();
    const ground = flat(plan, [0.1, 0.1, 0.1], () => 2);
    const strand = makeStrand(
      (along) => ({ x: 20 + 80 * along, y: 40, depth: -2 }),
      () => 1.5,
      (_along, _across, out) => out.fill(0.8),
    );
    const hidden = makeStrand(
      (along) => ({ x: 20 + 80 * along, y: 60, depth: 4 }),
      () => 1.5,
      (_along, _across, out) => out.fill(0.8),
    );
    const truth = createRenderer({ surfaces: [ground], strands: [strand, hidden] }, plan).drawTruth(
      shots[4].pose,
    );
    const [light, depth] = [viewOf(truth.linear, size, 3), viewOf(truth.depth, size)];
    expect(light.get(40, 60, 0)).toBeCloseTo(0.8, 5);
    expect(depth.get(40, 60)).toBeCloseTo(-2, 5);
    expect(light.get(60, 60, 0)).toBeCloseTo(0.1, 5);
    expect(depth.get(60, 60)).toBeCloseTo(2, 5);
  });
});

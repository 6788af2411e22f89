import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { blurDiameterPx } from '../../samples/camera.js';
import { applyMatrix } from '../../src/image/transform.js';
import { lensRays } from './raytraced/lens-rays.js';
import {
  exposeLens,
  hasPovray,
  povText,
  type RaytracedOptions,
  raytracedDefaults,
  shoot,
  transformOf,
} from './raytraced/render-raytraced.js';
import type { RaytracedScene } from './raytraced/scene-text.js';

const povray = await hasPovray();
const width = 96;
const height = 64;
const options: RaytracedOptions = { ...raytracedDefaults, subject: 'solids', width, height };
const still = { positionMm: 0, shiftXPx: 0, shiftYPx: 0, rollRad: 0 };

/** A small bright ball at a depth, whose light a lens spreads over its blur circle. */
function ball(xMm: number, yMm: number, zMm: number, radiusMm = 0.0012, light = 60): RaytracedScene {
  const geometry = `sphere{<${xMm},${yMm},${zMm}>,${radiusMm}}`;
  return {
    things: [{ geometry, texture: `texture{pigment{rgb ${light}}finish{ambient 1 diffuse 0}}` }],
    lights: 'background{rgb 0}',
  };
}

/** Centre, and radius of a disc of the same second moment. */
function disc(linear: Float32Array) {
  let [sum, x, y] = [0, 0, 0];
  for (let i = 0; i < width * height; i++) {
    sum += linear[3 * i];
    x += linear[3 * i] * (i % width);
    y += linear[3 * i] * Math.floor(i / width);
  }
  x /= sum;
  y /= sum;
  let square = 0;
  for (let i = 0; i < width * height; i++)
    square +=
      (linear[3 * i] * ((i % width) - x) ** 2 + linear[3 * i] * (Math.floor(i / width) - y) ** 2) / sum;
  return { x, y, radius: Math.sqrt(2 * square) };
}

describe.skipIf(!povray)('ray-traced scenes (needs Debian package povray)', () => {
  let work = '';
  beforeAll(async () => {
    work = await mkdtemp(join(tmpdir(), 'lamella-pov-'));
  });
  afterAll(() => rm(work, { recursive: true }));

  const take = (scene: RaytracedScene, pose: typeof still, grid = 2) =>
    shoot(work, 'ball', povText(scene, options, pose), width, height, grid);
  const expose = (scene: RaytracedScene, pose: typeof still) =>
    exposeLens(work, 'ball', scene, options, pose, lensRays(options));

  it.each([-0.3, 0.2, 0.4])(
    'spread a point over the circle of the thin-lens formula, %s mm out of focus',
    async (zMm) => {
      // Thin lens: see blurDiameterPx.
      const { radius } = disc(await expose(ball(0, 0, zMm), still));
      const wanted = blurDiameterPx(options, zMm) / 2;
      // The ball itself is 0.75 px wide.
      expect(Math.abs(radius / Math.hypot(wanted, 0.75) - 1)).toBeLessThan(0.02);
    },
  );

  it('blur a straight edge as a disc does, without grain along it', async () => {
    const zMm = 0.2;
    const angle = 0.4;
    const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
    const texture = 'texture{pigment{rgb 1}finish{ambient 1 diffuse 0}}';
    const geometry = `box{<-9,-9,-0.0005><0,9,0.0005> rotate ${(-angle * 180) / Math.PI}*z translate<0,0,${zMm}>}`;
    const linear = await expose({ things: [{ geometry, texture }], lights: 'background{rgb 0}' }, still);
    const radius = blurDiameterPx(options, zMm) / 2;
    let square = 0;
    let count = 0;
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const away = cos * (x - (width - 1) / 2) + sin * (y - (height - 1) / 2);
        const t = Math.max(-1, Math.min(1, away / radius));
        // The part of a disc on one side of a chord: a segment of the circle.
        const covered = (Math.acos(t) - t * Math.sqrt(1 - t * t)) / Math.PI;
        if (Math.abs(t) >= 1) continue;
        square += (linear[3 * (y * width + x)] - covered) ** 2;
        count++;
      }
    }
    expect(count).toBeGreaterThan(500);
    // So many random rays would differ by a twentieth where half is covered.
    expect(Math.sqrt(square / count)).toBeLessThan(0.012);
  });

  it('see a point where the pinhole formula has it, shifted and turned with the sensor', async () => {
    const pose = { positionMm: 0.1, shiftXPx: 3, shiftYPx: -2, rollRad: 0.05 };
    const { x, y } = disc(await take(ball(0.03, -0.02, 0.1), pose));
    // In the plane of focus a pixel is pitch / magnification wide; y grows downwards.
    const [px, py] = [0.03 / 0.0016, 0.02 / 0.0016];
    const [cos, sin] = [Math.cos(0.05), Math.sin(0.05)];
    expect(x).toBeCloseTo((width - 1) / 2 + cos * px - sin * py + 3, 0);
    expect(y).toBeCloseTo((height - 1) / 2 + sin * px + cos * py - 2, 0);
    expect(
      Math.hypot(
        x - ((width - 1) / 2 + cos * px - sin * py + 3),
        y - ((height - 1) / 2 + sin * px + cos * py - 2),
      ),
    ).toBeLessThan(0.15);
  });

  it('see what is out of focus where the pinhole in the middle of the lens has it', async () => {
    // So wide that it hides how few points of the lens there are.
    const scene = ball(0.02, -0.01, 0.3, 0.008, 1);
    const [lens, pinhole] = [disc(await expose(scene, still)), disc(await take(scene, still, 4))];
    expect(Math.hypot(pinhole.x - lens.x, pinhole.y - lens.y)).toBeLessThan(0.1);
  });

  it('carry what is in focus to where the pinhole of the truth sees it', async () => {
    const pose = { positionMm: 0.4, shiftXPx: 3, shiftYPx: -2, rollRad: 0.05 };
    const scene = ball(0.03, -0.02, 0.4, 0.004, 1);
    const frame = disc(await expose(scene, pose));
    const truth = disc(await take(scene, still, 4));
    const [x, y] = applyMatrix(transformOf(options, pose, still), frame.x, frame.y);
    expect(Math.hypot(x - truth.x, y - truth.y)).toBeLessThan(0.1);
  });
});

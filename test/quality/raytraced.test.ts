import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { blurDiameterPx } from '../../samples/camera.js';
import { applyMatrix } from '../../src/image/transform.js';
import {
  hasPovray,
  lensCentre,
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

  const take = (scene: RaytracedScene, pose: typeof still, rays?: number) =>
    shoot(work, 'ball', povText(scene, options, pose, rays === undefined ? {} : { rays }), width, height, 2);

  it.each([-0.3, 0.2, 0.4])(
    'spread a point over the circle of the thin-lens formula, %s mm out of focus',
    async (zMm) => {
      // Thin lens: see blurDiameterPx. Rays of a lens at 96 a pixel shrink the circle by less than a fiftieth.
      const { radius } = disc(await take(ball(0, 0, zMm), still, 96));
      const wanted = blurDiameterPx(options, zMm) / 2;
      // The ball itself is 0.75 px wide.
      expect(Math.abs(radius / Math.hypot(wanted, 0.75) - 1)).toBeLessThan(0.04);
    },
  );

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

  it('see what is out of focus where the pinhole at the centre of the lens has it, not the one on the axis', async () => {
    // Its pattern of 24 rays is the most off centre of those in use.
    const few = { ...options, rays: 96 };
    // So wide that it hides how few points of the lens there are.
    const wide = ball(0, 0, 0.3, 0.008, 1);
    const centreMm = await lensCentre(few, work);
    const lens = disc(await take(wide, still, 24));
    const through = async (view: { centreMm?: [number, number] }) => {
      const text = povText(wide, options, still, view);
      const { x, y } = disc(await shoot(work, 'ball', text, width, height, 4));
      return Math.hypot(x - lens.x, y - lens.y);
    };
    expect(await through({ centreMm })).toBeLessThan(0.15);
    expect(await through({})).toBeGreaterThan(0.3);
  });

  it('carry what is in focus to where the pinhole of the truth sees it', async () => {
    const centreMm = await lensCentre(options, work);
    const pose = { positionMm: 0.4, shiftXPx: 3, shiftYPx: -2, rollRad: 0.05 };
    const scene = ball(0.03, -0.02, 0.4);
    const frame = disc(
      await shoot(work, 'ball', povText(scene, options, pose, { rays: 24 }), width, height, 4),
    );
    const truth = disc(
      await shoot(work, 'ball', povText(scene, options, still, { centreMm }), width, height, 4),
    );
    const [x, y] = applyMatrix(transformOf(options, pose, still, centreMm), frame.x, frame.y);
    expect(Math.hypot(x - truth.x, y - truth.y)).toBeLessThan(0.1);
  });
});

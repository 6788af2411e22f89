import { describe, expect, it } from 'vitest';
import { focusDistanceMm, type Optics } from '../../samples/camera.js';
import { createRenderer, planRender } from '../../samples/renderer.js';
import { drawSurface } from '../../samples/scene.js';
import { planShots } from '../../samples/shoot.js';

const optics: Optics = { focalLengthMm: 50, fNumber: 5.6, magnification: 2.5, pixelPitchUm: 4 };
const stepMm = 0.035;
const width = 110;
const height = 80;
const focusMm = focusDistanceMm(optics);
/** Object side: tangent of the angle to the axis per pixel from the middle. */
const tangentPerPx = optics.pixelPitchUm / 1000 / (optics.focalLengthMm * (1 + optics.magnification));
const middleX = (width - 1) / 2;
const middleY = (height - 1) / 2;

/** A plane through the axis where the anchor is in focus: z = focusMm + slopeX X + slopeY Y, mm. */
interface Slant {
  slopeX: number;
  slopeY: number;
}

/** Linear light of the plane by anchor pixel: waves of 9 to 25 px in many directions. */
function texture(x: number, y: number): number {
  const waves = [
    [0.7, 0.0, 0.3],
    [0.1, 0.55, 1.9],
    [0.3, 0.3, 4.0],
    [-0.25, 0.4, 2.2],
    [0.2, -0.15, 0.9],
  ];
  return 0.5 + waves.reduce((sum, [u, v, phase]) => sum + 0.08 * Math.sin(u * x + v * y + phase), 0);
}

/** Light at a pixel by geometry alone: straight rays from points all over the lens through the focused point. */
function traced(x: number, y: number, positionMm: number, { slopeX, slopeY }: Slant): number {
  const radiusMm = optics.focalLengthMm / optics.fNumber / 2;
  const focusedX = (x - middleX) * tangentPerPx * focusMm;
  const focusedY = (y - middleY) * tangentPerPx * focusMm;
  const rays = 24;
  let sum = 0;
  let count = 0;
  for (let i = 0; i < rays; i++) {
    for (let j = 0; j < rays; j++) {
      const lensX = ((2 * i + 1) / rays - 1) * radiusMm;
      const lensY = ((2 * j + 1) / rays - 1) * radiusMm;
      if (lensX ** 2 + lensY ** 2 > radiusMm ** 2) continue;
      // From (lensX, lensY, 0) to the focused point at distance focusMm; the plane stands positionMm nearer.
      const dx = focusedX - lensX;
      const dy = focusedY - lensY;
      const along =
        (focusMm - positionMm + slopeX * lensX + slopeY * lensY) / (focusMm - slopeX * dx - slopeY * dy);
      const anchorDistance = along * focusMm + positionMm;
      const tangentX = (lensX + along * dx) / anchorDistance;
      const tangentY = (lensY + along * dy) / anchorDistance;
      sum += texture(middleX + tangentX / tangentPerPx, middleY + tangentY / tangentPerPx);
      count++;
    }
  }
  return sum / count;
}

function drawn(k: number, slant: Slant): { linear: Float32Array; positionMm: number } {
  const calm = {
    shiftPx: 0,
    rollDeg: 0,
    flickerPercent: 0,
    irregularPercent: 0,
    breathingPercent: 0,
    blurredFrames: 0,
    smearPx: 0,
    order: 'near-to-far',
  } as const;
  const shots = planShots(25, stepMm, calm, 5);
  const plan = planRender(width, height, optics, stepMm, shots);
  const plane = drawSurface(plan.size, (x, y, out) => {
    out.fill(texture(x, y));
    out[3] = 1;
    const rise = slant.slopeX * (x - middleX) + slant.slopeY * (y - middleY);
    out[4] = (focusMm / (1 - rise * tangentPerPx) - focusMm) / stepMm;
  });
  const { linear } = createRenderer({ surfaces: [plane], strands: [] }, plan).drawFrame(shots[k]);
  return { linear, positionMm: shots[k].pose.positionMm };
}

/** RMS over the middle of the frame of the drawn picture less the traced one, and of the texture's own contrast. */
function compare(k: number, slant: Slant): { error: number; contrast: number } {
  const { linear, positionMm } = drawn(k, slant);
  let error = 0;
  let contrast = 0;
  let count = 0;
  for (let y = 8; y < height - 8; y += 3) {
    for (let x = 8; x < width - 8; x += 3) {
      const expected = traced(x, y, positionMm, slant);
      error += (linear[3 * (y * width + x)] - expected) ** 2;
      contrast += (expected - 0.5) ** 2;
      count++;
    }
  }
  return { error: Math.sqrt(error / count), contrast: Math.sqrt(contrast / count) };
}

describe('a slanted plane', () => {
  // Slopes of 1 to 7 in depth over breadth: blur that grows by up to a quarter of a pixel per pixel.
  for (const [k, slopeX, slopeY] of [
    [12, 4, 0],
    [7, 0, 3],
    [17, -3, 5],
    [17, 1, -1],
  ]) {
    it(`looks as rays through the whole lens show it: frame ${k + 1}, slope ${slopeX} and ${slopeY}`, () => {
      const { error, contrast } = compare(k, { slopeX, slopeY });
      console.log(k, slopeX, slopeY, error / contrast, contrast);
      expect(contrast).toBeGreaterThan(0.02);
      expect(error).toBeLessThan(0.03 * contrast);
    });
  }
});

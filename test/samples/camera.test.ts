import { describe, expect, it } from 'vitest';
import {
  blurDiameterPx,
  depthOfFieldMm,
  focusDistanceMm,
  frameToAnchor,
  type Optics,
  type Pose,
} from '../../samples/camera.js';
import { applyMatrix } from '../../src/image/transform.js';

const optics: Optics = { focalLengthMm: 50, fNumber: 5.6, magnification: 2.5, pixelPitchUm: 4 };

/** Where the ray through the lens at height `lensY` from a point on the axis at distance `uMm` meets the sensor. */
function tracedHeightMm(lensY: number, uMm: number, sensorMm: number): number {
  // A thin lens turns a ray by its height over the focal length.
  const slope = lensY / uMm - lensY / optics.focalLengthMm;
  return lensY + slope * sensorMm;
}

describe('camera', () => {
  it('gives the blur diameter that rays traced through a thin lens give', () => {
    const sensorMm = optics.focalLengthMm * (1 + optics.magnification);
    const halfAperture = optics.focalLengthMm / optics.fNumber / 2;
    for (const distance of [-1.2, -0.3, -0.05, 0.02, 0.4, 1.5, 12]) {
      const height = tracedHeightMm(halfAperture, focusDistanceMm(optics) + distance, sensorMm);
      const tracedPx = (2 * Math.abs(height) * 1000) / optics.pixelPitchUm;
      expect(blurDiameterPx(optics, distance)).toBeCloseTo(tracedPx, 8);
    }
  });

  it('blurs to about the circle of confusion at both ends of the depth of field', () => {
    const half = depthOfFieldMm(optics, 2) / 2;
    expect(blurDiameterPx(optics, half)).toBeCloseTo(2, 2);
    expect(blurDiameterPx(optics, -half)).toBeCloseTo(2, 2);
  });

  it('gives the depth of field of a published table: 1x at f/8, circle 0.03 mm, 0.96 mm', () => {
    const bench: Optics = { focalLengthMm: 50, fNumber: 8, magnification: 1, pixelPitchUm: 10 };
    expect(depthOfFieldMm(bench, 3)).toBeCloseTo(0.96, 6);
  });

  it('carries a point in a frame’s plane of focus to where a pinhole at the anchor’s lens sees it', () => {
    const width = 400;
    const height = 300;
    const frame: Pose = { positionMm: 0.7, shiftXPx: 2.5, shiftYPx: -1.25, rollRad: 0.002 };
    const anchor: Pose = { positionMm: 0, shiftXPx: -0.75, shiftYPx: 0.5, rollRad: -0.001 };
    const point = { xMm: 0.21, yMm: -0.13, zMm: 0.7 };
    const [x, y] = seenBy(frame, point);
    const [toX, toY] = applyMatrix(frameToAnchor(optics, frame, anchor, width, height), x, y);
    const [wantedX, wantedY] = seenBy(anchor, point);
    expect(toX).toBeCloseTo(wantedX, 8);
    expect(toY).toBeCloseTo(wantedY, 8);

    /** Central projection, written out: v / distance, then the sensor's turn and shift. */
    function seenBy(pose: Pose, { xMm, yMm, zMm }: typeof point): [number, number] {
      const imageMm = optics.focalLengthMm * (1 + optics.magnification);
      const perMm =
        ((imageMm / (focusDistanceMm(optics) + zMm - pose.positionMm)) * 1000) / optics.pixelPitchUm;
      const cos = Math.cos(pose.rollRad);
      const sin = Math.sin(pose.rollRad);
      return [
        (width - 1) / 2 + perMm * (xMm * cos - yMm * sin) + pose.shiftXPx,
        (height - 1) / 2 + perMm * (xMm * sin + yMm * cos) + pose.shiftYPx,
      ];
    }
  });
});

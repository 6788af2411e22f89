import { mkdir } from 'node:fs/promises';
import { depthOfFieldMm, focusDistanceMm } from '../../../samples/camera.js';
import { fromBytes, layeredNoise, mixColour, smoothNoise } from '../../../samples/noise.js';
import { createRenderer, planRender } from '../../../samples/renderer.js';
import { drawSurface, type SceneSize } from '../../../samples/scene.js';
import { createSensor, encodePicture, exposeSensor } from '../../../samples/sensor.js';
import { anchorNumber, planShots } from '../../../samples/shoot.js';
import { writeFrame } from '../../../samples/write-frame.js';

/** A body of known size, grained all over. */
export interface Shape {
  name: 'sphere' | 'cone' | 'step' | 'sine';
  /** Depth from the anchor's plane of focus at a point of the subject, mm; x right and y down from the axis. */
  depthMm: (xMm: number, yMm: number) => number;
  width: number;
  height: number;
  frames: number;
}

const camera = { focalLengthMm: 20, fNumber: 1.8, magnification: 1, pixelPitchUm: 4 };
const bench = {
  shiftPx: 1.5,
  rollDeg: 0.1,
  flickerPercent: 1,
  irregularPercent: 0,
  blurredFrames: 0,
  smearPx: 0,
  order: 'near-to-far',
} as const;
const sensorOptions = { bits: 8, noise: 1.6, dust: 0, hotPixels: 0 } as const;
/** Circle of confusion for the depth of field, px, and the step as a part of it: as of the sample scenes. */
const [circlePx, stepPart] = [2, 0.7];

export const stepMm = stepPart * depthOfFieldMm(camera, circlePx);
const pixelMm = camera.pixelPitchUm / 1000 / camera.magnification;

/** Known sizes: the opening angle of the cone, amplitude and length of the wave. */
export const truth = {
  radiusMm: 0.5,
  coneDegrees: 100,
  stepHeightMm: 2.6 * stepMm,
  sineMm: 1.1 * stepMm,
  waveMm: 0.28,
};

export const shapes: readonly Shape[] = [
  {
    name: 'sphere',
    width: 200,
    height: 192,
    frames: 15,
    depthMm: (x, y) =>
      -5.6 * stepMm + truth.radiusMm - Math.sqrt(truth.radiusMm ** 2 - Math.min(0.46, Math.hypot(x, y)) ** 2),
  },
  {
    name: 'cone',
    width: 248,
    height: 240,
    frames: 19,
    depthMm: (x, y) =>
      -7.6 * stepMm + Math.min(0.55, Math.hypot(x, y)) / Math.tan((truth.coneDegrees * Math.PI) / 360),
  },
  {
    name: 'step',
    width: 200,
    height: 120,
    frames: 9,
    depthMm: (x) => (x < 0 ? -truth.stepHeightMm / 2 : truth.stepHeightMm / 2),
  },
  {
    name: 'sine',
    width: 352,
    height: 352,
    frames: 9,
    depthMm: (x) => truth.sineMm * Math.sin((2 * Math.PI * x) / truth.waveMm),
  },
];

/** A rendered stack, and what a merge of it is told. */
export interface RenderedShape {
  folder: string;
  merge: { stepMm: number; fieldWidthMm: number; anchor: number; crop: 'anchor'; direction: 'near-to-far' };
  /** Where the axis of the shape meets the anchor's plane of focus, from the middle of its field: x right, y up. */
  axisMm: [x: number, y: number];
}

/** Renders a stack of a shape into a folder by the renderer of the samples, through a lens with perspective. */
export async function renderShape(shape: Shape, folder: string): Promise<RenderedShape> {
  const { width, height, frames } = shape;
  const shots = planShots(frames, stepMm, bench, 1);
  const plan = planRender(width, height, camera, stepMm, shots);
  const renderer = createRenderer({ surfaces: [drawShape(shape, plan.size)], strands: [] }, plan);
  const sensor = createSensor(width, height, sensorOptions, 1);
  await mkdir(folder, { recursive: true });
  for (const [k, shot] of shots.entries()) {
    const { linear } = renderer.drawFrame(shot);
    exposeSensor(linear, sensor, k + 1);
    const pixels = encodePicture(linear, sensorOptions.bits);
    await writeFrame(folder, k + 1, pixels, {
      ...camera,
      width,
      height,
      bits: 8,
      format: 'jpg',
      quality: 97,
    });
  }
  const anchor = anchorNumber(frames);
  const { shiftXPx, shiftYPx } = shots[anchor - 1].pose;
  return {
    folder,
    merge: { stepMm, fieldWidthMm: width * pixelMm, anchor, crop: 'anchor', direction: 'near-to-far' },
    axisMm: [shiftXPx * pixelMm, -shiftYPx * pixelMm],
  };
}

function drawShape({ depthMm }: Shape, size: SceneSize) {
  const [dark, light] = [fromBytes(60, 54, 50), fromBytes(220, 206, 186)];
  return drawSurface(size, (x, y, out) => {
    const coarse = layeredNoise(x / 40, y / 40, 4, 0.8, 5);
    const fine = smoothNoise(x / 2.9, y / 2.9, 17) + smoothNoise(x / 5.1 + 0.4, y / 5.1, 18);
    out.set(mixColour(dark, light, Math.min(1, Math.max(0, 0.5 + 0.4 * coarse + 0.22 * fine))));
    out[3] = 1;
    out[4] = seenDepthMm(depthMm, x - (size.width - 1) / 2, y - (size.height - 1) / 2) / stepMm;
  });
}

/** The depth where the line of sight through a pixel, counted from the axis, meets the shape. */
function seenDepthMm(depthMm: Shape['depthMm'], x: number, y: number): number {
  let depth = 0;
  for (let round = 0; round < 40; round++) {
    const side = pixelMm * (1 + depth / focusDistanceMm(camera));
    const next = depthMm(x * side, y * side);
    if (Math.abs(next - depth) < 1e-9) return next;
    depth = next;
  }
  return depth;
}

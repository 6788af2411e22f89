import { applyMatrix, invertMatrix } from '../src/image/transform.js';
import {
  blurDiameterPx,
  focusDistanceMm,
  jitterMatrix,
  type Optics,
  type Pose,
  scaleToAnchor,
} from './camera.js';
import { createDefocusBuffers, drawDefocused, groundWeight } from './defocus.js';
import { createElements, createGrid, type Elements, type Grid } from './elements.js';
import { projectSurface, type View } from './project.js';
import type { Scene, SceneSize } from './scene.js';
import { anchorNumber, type Shot } from './shoot.js';
import { smearPicture } from './smear.js';
import { createStrandScratch, projectStrand } from './strands.js';
import { drawSharp, finishWithGround, type Ground, groundOf, type Truth } from './truth.js';

/** The sizes that follow from the optics and the shots, before a scene is drawn. */
export interface RenderPlan {
  optics: Optics;
  stepMm: number;
  size: SceneSize;
  grid: Grid;
  maxRadiusPx: number;
}

/** Steps that a subject may reach beyond the first and the last plane of focus with its blur still drawn in full. */
const overhangSteps = 3;

export function planRender(
  width: number,
  height: number,
  optics: Optics,
  stepMm: number,
  shots: readonly Shot[],
): RenderPlan {
  const spanSteps = shots.length - 1;
  const beforeAnchor = anchorNumber(shots.length) - 1;
  const nearSteps = shots[0].pose.positionMm <= 0 ? beforeAnchor : spanSteps - beforeAnchor;
  const positions = shots.map(({ pose }) => pose.positionMm);
  const travelMm = Math.max(...positions) - Math.min(...positions) + overhangSteps * stepMm;
  const maxRadiusPx = Math.ceil(blurDiameterPx(optics, -travelMm) / 2);
  // A disc that just reaches the frame lies a radius outside and reaches a radius farther.
  // Blocks reach up to 9 pixels farther, see the stencils.
  const border = 2 * maxRadiusPx + 14;
  const half = Math.hypot(width, height) / 2 + border;
  const drift = (half * travelMm) / (focusDistanceMm(optics) - travelMm);
  const jitter = Math.max(
    ...shots.map(
      ({ pose: { shiftXPx, shiftYPx, rollRad, scale = 1 } }) =>
        Math.hypot(shiftXPx, shiftYPx) + (Math.abs(rollRad) + Math.abs(1 - scale)) * half,
    ),
  );
  const margin = maxRadiusPx + Math.ceil(drift + jitter) + 6;
  return {
    optics,
    stepMm,
    size: { width, height, margin, spanSteps, nearSteps },
    grid: createGrid(width, height, border),
    maxRadiusPx,
  };
}

/** A frame as light on the sensor. */
export interface DrawnFrame {
  /** Linear light of the scene, gain applied, (height, width, 3). */
  linear: Float32Array;
  /** 1 where nothing but the backdrop gives light, (height, width). */
  plain: Uint8Array;
}

export interface Renderer {
  drawFrame(shot: Shot): DrawnFrame;
  drawTruth(pose: Pose): Truth;
}

/** Draws a scene from any pose. Keeps its buffers, about 150 bytes a pixel, from frame to frame. */
export function createRenderer(scene: Scene, plan: RenderPlan): Renderer {
  const { grid, size, optics, stepMm } = plan;
  const { width, height } = size;
  const elements = createElements();
  const buffers = createDefocusBuffers(grid);
  const scratch = createStrandScratch(scene.strands.length > 0 ? grid.stride * grid.rows : 0);
  const ranks = scene.surfaces.length + 1;

  function project(pose: Pose): Elements {
    const view: View = { ...plan, pose };
    elements.count = 0;
    for (const strand of scene.strands) projectStrand(strand, 0, view, scratch, elements);
    scene.surfaces.forEach((surface, i) => {
      projectSurface(surface, i + 1, view, elements);
    });
    return elements;
  }

  function ground(pose: Pose): Ground {
    const steady = invertMatrix(jitterMatrix(pose, width, height));
    const scale = scaleToAnchor(optics, (scene.backdrop?.depth ?? 0) * stepMm, pose.positionMm);
    const centreX = (width - 1) / 2;
    const centreY = (height - 1) / 2;
    return groundOf(scene, width, height, (x, y) => {
      const [steadyX, steadyY] = applyMatrix(steady, x, y);
      return [centreX + (steadyX - centreX) * scale, centreY + (steadyY - centreY) * scale];
    });
  }

  return {
    drawFrame({ pose, gains, smearXPx, smearYPx }) {
      drawDefocused(project(pose), ranks, buffers);
      let linear: Float32Array = new Float32Array(width * height * 3);
      const plain = new Uint8Array(width * height);
      for (let pixel = 0; pixel < plain.length; pixel++) {
        plain[pixel] = buffers.picture[4 * pixel + 3] < 1e-3 ? 1 : 0;
        // Weight and ground may fall short of 1, see `leftOpen`: what is missing is shared out here.
        const total = buffers.picture[4 * pixel + 3] + groundWeight(buffers, pixel);
        for (let channel = 0; channel < 3; channel++) {
          linear[3 * pixel + channel] = buffers.picture[4 * pixel + channel] / total;
        }
      }
      finishWithGround(linear, ground(pose), (pixel) => {
        const weight = groundWeight(buffers, pixel);
        return weight / (buffers.picture[4 * pixel + 3] + weight);
      });
      if (smearXPx !== 0 || smearYPx !== 0) linear = smearPicture(linear, width, height, smearXPx, smearYPx);
      for (let i = 0; i < linear.length; i += 3) {
        for (let channel = 0; channel < 3; channel++) linear[i + channel] *= gains[channel];
      }
      return { linear, plain };
    },
    drawTruth(pose) {
      return drawSharp(project(pose), ranks, grid, ground(pose));
    },
  };
}

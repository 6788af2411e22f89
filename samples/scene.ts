/** What a scene is drawn for: the anchor's framing, without jitter. */
export interface SceneSize {
  width: number;
  height: number;
  /** Pixels around the frame that surfaces must cover too: frames see past the anchor's edges, and blur reaches in. */
  margin: number;
  /** Nominal steps from the nearest plane of focus to the farthest. */
  spanSteps: number;
  /** The same from the nearest plane to the anchor's: depth 0 lies there. */
  nearSteps: number;
}

/**
 * One surface of the subject as a height field in the anchor's framing.
 * Shape (height + 2 margin, width + 2 margin); pixel (margin, margin) is the frame's (0, 0).
 */
export interface Surface {
  /** Linear light red, green, blue times coverage, and coverage, interleaved; all in [0, 1]. */
  rgba: Float32Array;
  /** Depth in nominal steps from the anchor's plane of focus, positive away from the camera. */
  depth: Float32Array;
}

/** A hair, bristle or antenna: a chain of points close enough to be joined by straight pieces. */
export interface Strand {
  /** x, y in anchor pixels, depth in nominal steps, half width in pixels, four numbers a point. */
  points: Float64Array;
  /** Linear red, green, blue at `along` in [0, 1] from root to tip and `across` in [-1, 1]. */
  colour(along: number, across: number, out: Float64Array): void;
}

/** A smooth ground far behind the subject. */
export interface Backdrop {
  depth: number;
  /** Linear red, green, blue at a place in the anchor's framing, x and y as parts of width and height. */
  colour(x: number, y: number, out: Float64Array): void;
}

/** Everything a camera can see. Surfaces and strands may lie at any depth, before or behind each other. */
export interface Scene {
  /** Nearest first: the order that decides where two surfaces share a depth. Strands come before all of them. */
  surfaces: Surface[];
  strands: Strand[];
  /** Undefined when the surfaces fill the frame. */
  backdrop?: Backdrop;
  /** (height, width): 255 where the depth is known, 0 where it was made up. Undefined when all is known. */
  known?: Uint8Array;
}

/** The depth at a part of the span: 0 is the nearest plane of focus, 1 the farthest. */
export function depthAt(size: SceneSize, part: number): number {
  return part * size.spanSteps - size.nearSteps;
}

/**
 * Draws a surface pixel by pixel. `shade` gets x and y in anchor pixels (negative in the margin) and fills
 * linear red, green, blue, coverage in [0, 1] and depth in steps.
 */
export function drawSurface(
  size: SceneSize,
  shade: (x: number, y: number, out: Float64Array) => void,
): Surface {
  const width = size.width + 2 * size.margin;
  const height = size.height + 2 * size.margin;
  const rgba = new Float32Array(width * height * 4);
  const depth = new Float32Array(width * height);
  const out = new Float64Array(5);
  for (let row = 0; row < height; row++) {
    for (let column = 0; column < width; column++) {
      shade(column - size.margin, row - size.margin, out);
      const i = row * width + column;
      const cover = Math.min(1, Math.max(0, out[3]));
      for (let channel = 0; channel < 3; channel++) {
        rgba[4 * i + channel] = cover * Math.min(1, Math.max(0, out[channel]));
      }
      rgba[4 * i + 3] = cover;
      depth[i] = out[4];
    }
  }
  return { rgba, depth };
}

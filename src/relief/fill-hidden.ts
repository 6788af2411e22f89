import { hotPixelFrames, hotPixelsOf, openFrames, readAlignedFrame } from '../export/aligned-frame.js';
import type { Size } from '../image/image.js';
import type { RunRecord } from '../result/run-record.js';
import { LocalKernels } from '../trace/local-kernels.js';
import type { StackFrame } from '../trace/stack-frames.js';
import type { SideView } from './render-view.js';

/** Share of the near thing's colour, in the frame that is sharp behind it, up to which the far side is seen. */
const [clearShare, coveredShare] = [0.25, 0.5];
/** Squared difference of colours below which near and far cannot be told apart. */
const minContrast = 400;

/**
 * Fills what is hidden in the composite from the frames that saw it: where a thing is out of focus, the lens looks around
 * it. Of each hidden pixel the frame is asked whose plane of focus is that of the surface behind. Where it shows more of
 * what is before than of what is behind, the reflection that the view has there stays.
 *
 * @param views All views at once: every frame is decoded once.
 * @param colours The composite at the size of the views.
 * @param size Of the views.
 * @returns The number of hidden pixels that a frame saw.
 */
export async function fillHidden(
  views: readonly SideView[],
  colours: Uint8Array,
  size: Size,
  record: RunRecord,
  frames: readonly StackFrame[],
  signal?: AbortSignal,
): Promise<number> {
  const placed = frames.flatMap((frame) => (frame.depth === null ? [] : [{ frame, depth: frame.depth }]));
  const wanted = new Map<number, { view: SideView; hidden: SideView['hidden'][number] }[]>();
  for (const view of views) {
    for (const hidden of view.hidden) {
      let best = 0;
      placed.forEach(({ depth }, i) => {
        if (Math.abs(depth - hidden.depth) < Math.abs(placed[best].depth - hidden.depth)) best = i;
      });
      const own = wanted.get(best);
      if (own) own.push({ view, hidden });
      else wanted.set(best, [{ view, hidden }]);
    }
  }
  if (wanted.size === 0 || placed.length === 0) return 0;
  // Each photograph is read whole once more to see that it is the one that was merged: only those that are looked into.
  const outer = hotPixelFrames(placed.length);
  const needed = [...new Set([...outer, ...wanted.keys()])].sort((first, second) => first - second);
  const opened = await openFrames(
    needed.map((index) => placed[index].frame),
    signal,
  );
  const openedOf = (index: number) => opened[needed.indexOf(index)];
  const hotPixels = await hotPixelsOf(outer.map(openedOf));
  const kernels = await LocalKernels.start();
  let seen = 0;
  for (const [index, pixels] of wanted) {
    signal?.throwIfAborted();
    const aligned = await readAlignedFrame(kernels, openedOf(index), hotPixels, {
      ...record,
      bits: 8,
      channels: 3,
    });
    for (const { view, hidden } of pixels) {
      const x = Math.max(0, Math.min(size.width - 1, Math.round(hidden.x)));
      const exactX = ((hidden.x + 0.5) * record.size.width) / size.width - 0.5;
      const frameX = Math.floor(exactX);
      const frameY = Math.round(((hidden.y + 0.5) * record.size.height) / size.height - 0.5);
      if (frameX < aligned.coveredFrom[frameY] || frameX + 1 >= aligned.coveredTo[frameY]) continue;
      const from = 3 * (frameY * record.size.width + frameX);
      const part = exactX - frameX;
      const frame = [0, 1, 2].map(
        (k) => (1 - part) * aligned.pixels[from + k] + part * aligned.pixels[from + 3 + k],
      );
      const near = colours.subarray(3 * (hidden.y * size.width + x), 3 * (hidden.y * size.width + x) + 3);
      const far = view.pixels.subarray(3 * hidden.beside, 3 * hidden.beside + 3);
      const weight = sightOf(frame, near, far);
      if (weight === 0) continue;
      seen++;
      for (let k = 0; k < 3; k++) {
        const at = 3 * hidden.at + k;
        view.pixels[at] = Math.round(weight * frame[k] + (1 - weight) * view.pixels[at]);
      }
    }
  }
  return seen;
}

/** How far a frame shows what lies behind, 0 to 1. */
function sightOf(frame: ArrayLike<number>, near: ArrayLike<number>, far: ArrayLike<number>): number {
  let along = 0;
  let contrast = 0;
  for (let k = 0; k < 3; k++) {
    along += (frame[k] - far[k]) * (near[k] - far[k]);
    contrast += (near[k] - far[k]) ** 2;
  }
  if (contrast < minContrast) return 1;
  return Math.max(0, Math.min(1, (coveredShare - along / contrast) / (coveredShare - clearShare)));
}

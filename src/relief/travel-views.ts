import sharp from 'sharp';
import { hotPixelsOf, openFrames, readAlignedFrame } from '../export/aligned-frame.js';
import type { Size } from '../image/image.js';
import type { RunRecord } from '../result/run-record.js';
import { LocalKernels } from '../trace/local-kernels.js';
import { findStackFrames } from '../trace/stack-frames.js';

/** Most frames that are shown: more would only make the file longer. */
const maxShown = 60;

/**
 * The frames of a result as the composite sees them, reduced, from the nearest to the farthest.
 *
 * @param size Of the pictures, (rows, cols, 3) each.
 * @throws InputError when a photograph is missing or has changed.
 */
export async function travelViews(
  record: RunRecord,
  framesFrom: string | undefined,
  size: Size,
  signal?: AbortSignal,
): Promise<Uint8Array[]> {
  const all = (await findStackFrames(record, framesFrom))
    .filter(({ depth }) => depth !== null)
    .sort((first, second) => first.depth! - second.depth!);
  const every = Math.ceil(all.length / maxShown);
  const opened = await openFrames(
    all.filter((_, i) => i % every === 0),
    signal,
  );
  const hotPixels = await hotPixelsOf(opened);
  const kernels = await LocalKernels.start();
  const views: Uint8Array[] = [];
  for (const frame of opened) {
    signal?.throwIfAborted();
    const { pixels, width, height } = await readAlignedFrame(kernels, frame, hotPixels, {
      ...record,
      bits: 8,
      channels: 3,
    });
    const reduced = await sharp(pixels, { raw: { width, height, channels: 3 } })
      .resize(size.width, size.height, { fit: 'fill' })
      .raw()
      .toBuffer();
    views.push(new Uint8Array(reduced));
  }
  return views;
}

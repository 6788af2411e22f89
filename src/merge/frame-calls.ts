import { type FullSizeMeasurement, type FullSizePlan, measureFullSize } from '../rail/full-size-reading.js';
import { findHotPixels } from '../rail/hot-pixels.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import type { KeptFrames } from '../stack/kept-frames.js';
import { sharedCopy } from '../workers/shared-copy.js';
import { tellSpans } from '../workers/spans.js';

/** What a thread that decodes frames offers of them, all plain data. */
export function frameCalls(kept: () => KeptFrames) {
  return {
    decodeAhead({ files }: { files: readonly FrameFile[] }): void {
      kept().decodeAhead(files);
    },

    async decode({ file }: { file: FrameFile }): Promise<DecodedFrame> {
      const decoded = await kept().decode(file);
      return { ...decoded, pixels: sharedCopy(decoded.pixels) };
    },

    measureFull({
      plan,
      files,
    }: {
      plan: FullSizePlan;
      files: readonly FrameFile[];
    }): Promise<FullSizeMeasurement> {
      return measureFullSize(plan, (k) => kept().decode(files[k]), undefined);
    },

    hotPixels({ files }: { files: readonly FrameFile[] }): Promise<SensorSpot[]> {
      return findHotPixels(files.map((file) => () => kept().decode(file, 3)));
    },

    /** Tells of all work, until the thread ends. */
    spans(_: undefined, tell: (news: unknown) => void): Promise<never> {
      tellSpans(tell);
      return new Promise(() => {});
    },
  };
}

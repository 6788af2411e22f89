import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import type { Matrix3 } from '../../src/image/transform.js';
import { writeReport } from '../../src/result/report/write-report.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { writeComposite } from '../../src/result/write-composite.js';
import { writeMaps } from '../../src/result/write-maps.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { sampleFrame, sampleRecord } from '../result/sample-record.js';
import { makeFolder } from '../stack/pictures.js';

export interface SurfaceOptions {
  width?: number;
  height?: number;
  /** In mm, or in steps without `stepMm`. */
  depthAt: (x: number, y: number) => number;
  /** 0 to 1. Default 1. */
  confidenceAt?: (x: number, y: number) => number;
  /** 0 to 255, grey. Default 128. */
  greyAt?: (x: number, y: number) => number;
  mmPerPixel?: number;
  stepMm?: number;
  /** Relative growth of a pixel's side per unit of depth. Default 0. */
  growth?: number;
  /** With a report. Default false. */
  report?: boolean;
  record?: Partial<RunRecord>;
}

/** A result folder whose depth follows a formula exactly; nine frames a step apart, the anchor in their middle. */
export async function makeSurface(options: SurfaceOptions): Promise<string> {
  const { width = 200, height = 150, depthAt, confidenceAt = () => 1, greyAt = () => 128 } = options;
  const { mmPerPixel, stepMm, growth = 0 } = options;
  const folder = join(makeFolder(), 'merged');
  mkdirSync(folder);
  const size = { width, height };
  const map = <T>(make: (x: number, y: number) => T): T[] =>
    Array.from({ length: width * height }, (_, i) => make(i % width, Math.floor(i / width)));
  const maps = {
    ...size,
    depth: Float32Array.from(map(depthAt)),
    sources: new Uint16Array(width * height).fill(5),
    confidence: Uint8Array.from(map((x, y) => Math.round(255 * confidenceAt(x, y)))),
    coverage: new Uint8Array(width * height),
  };
  const pixels = Uint8Array.from(map(greyAt).flatMap((grey) => [grey, grey, grey]));
  const software = 'Lamella test';
  const picture = { pixels, ...size, channels: 3 } as const;
  const { notes: _, ...composite } = await writeComposite(folder, picture, { format: 'png', software });
  const unit = stepMm === undefined ? 'step' : 'mm';
  const frames = Array.from({ length: 9 }, (_, i) => {
    const depth = (i - 4) * (stepMm ?? 1);
    const s = 1 / (1 + growth * depth);
    const [cx, cy] = [(width - 1) / 2, (height - 1) / 2];
    const transform: Matrix3 = [s, 0, cx - s * cx, 0, s, cy - s * cy, 0, 0, 1];
    return sampleFrame(i + 1, { transform, depth });
  });
  const record = sampleRecord({
    size,
    frameSize: size,
    bits: 8,
    frames,
    anchorNumber: 5,
    composite,
    maps: await writeMaps(folder, maps, { unit, software }),
    crop: { x: 0, y: 0, ...size },
    ...(mmPerPixel !== undefined && { mmPerPixel }),
    ...(stepMm !== undefined && { stepMm }),
    ...options.record,
  });
  if (options.report) await writeReport(folder, record, { composite: picture, maps });
  await writeRunRecord(folder, record);
  return folder;
}

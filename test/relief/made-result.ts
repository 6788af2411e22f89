import type { Matrix3 } from '../../src/image/transform.js';
import { coverageClassNames } from '../../src/result/coverage.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { writeComposite } from '../../src/result/write-composite.js';
import { writeMaps } from '../../src/result/write-maps.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { sampleFrame, sampleRecord } from '../result/sample-record.js';

/** A camera on a rail before a subject of known shape; lengths in mm. */
export interface MadeScene {
  width: number;
  height: number;
  /** Side of a pixel at the plane of focus of the anchor. */
  pixelMm: number;
  stepMm: number;
  /** Distance of that plane from the pinhole; default: none, the view is parallel. */
  distanceMm?: number;
  /** Depth of the surface at a point of the subject, x right and y down from the axis; NaN: nothing there. */
  depthMm: (x: number, y: number) => number;
  /** Composite at a pixel, 0 to 255; default a chequered one. */
  colour?: (x: number, y: number) => readonly [number, number, number];
  /** Class of coverage; default covered where there is depth, else no detail. */
  coverage?: (x: number, y: number) => (typeof coverageClassNames)[number];
  confidence?: number;
  record?: Partial<RunRecord>;
}

const software = 'Lamella 0.1.0';

/** Writes a result folder as a merge of such a scene would have it, but exact. */
export async function writeMadeResult(folder: string, scene: MadeScene): Promise<RunRecord> {
  const { width, height, pixelMm, stepMm, distanceMm = Number.POSITIVE_INFINITY, confidence = 255 } = scene;
  const pixels = new Uint8Array(width * height * 3);
  const maps = {
    width,
    height,
    depth: new Float32Array(width * height),
    sources: new Uint16Array(width * height).fill(1),
    confidence: new Uint8Array(width * height).fill(confidence),
    coverage: new Uint8Array(width * height),
  };
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) {
      const depth = seenDepth(scene, x, y);
      maps.depth[i] = depth;
      const name = scene.coverage?.(x, y) ?? (Number.isNaN(depth) ? 'no-detail' : 'covered');
      maps.coverage[i] = coverageClassNames.indexOf(name);
      const dot = (x + y) % 2 === 0 ? 200 : 60;
      pixels.set(scene.colour?.(x, y) ?? [dot, dot, 40], 3 * i);
    }
  }
  const size = { width, height };
  const picture = { pixels, width, height, channels: 3 } as const;
  const { notes, ...composite } = await writeComposite(folder, picture, { format: 'png', software });
  const written = await writeMaps(folder, maps, { unit: 'mm', software });
  const frames = Array.from({ length: 9 }, (_, i) => {
    const depth = (i - 4) * stepMm;
    const scale = 1 / (1 + depth / distanceMm);
    const shift = (length: number) => ((length - 1) / 2) * (1 - scale);
    const transform: Matrix3 = [scale, 0, shift(width), 0, scale, shift(height), 0, 0, 1];
    return sampleFrame(i + 1, { depth, transform });
  });
  const record: RunRecord = {
    ...sampleRecord(),
    folder: `${folder}-photographs`,
    size,
    frameSize: size,
    crop: { x: 0, y: 0, ...size },
    channels: 3,
    bits: 8,
    anchorNumber: 5,
    frames,
    composite,
    maps: written,
    mmPerPixel: pixelMm,
    stepMm,
    ...scene.record,
  };
  await writeRunRecord(folder, record);
  return record;
}

/** The depth where the line of sight through a pixel meets the surface. */
function seenDepth(scene: MadeScene, column: number, row: number): number {
  const { width, height, pixelMm, distanceMm = Number.POSITIVE_INFINITY, depthMm } = scene;
  let depth = 0;
  for (let round = 0; round < 60; round++) {
    const side = pixelMm * (1 + depth / distanceMm);
    const next = depthMm((column - (width - 1) / 2) * side, (row - (height - 1) / 2) * side);
    if (Number.isNaN(next) || Math.abs(next - depth) < 1e-9) return next;
    depth = next;
  }
  return depth;
}

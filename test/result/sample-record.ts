import { coverageClasses } from '../../src/result/coverage.js';
import type { RunFrame, RunRecord } from '../../src/result/run-record.js';
import { runSchemaName, runSchemaVersion } from '../../src/result/run-record.js';

/** A frame of a made-up stack; `over` replaces fields. */
export function sampleFrame(number: number, over: Partial<RunFrame> = {}): RunFrame {
  return {
    number,
    name: `seed_${number}.jpg`,
    path: `seed_${number}.jpg`,
    sizeBytes: 1000 + number,
    modifiedMs: 1_700_000_000_000 + number,
    sha256: number.toString(16).padStart(64, '0'),
    exif: { fNumber: 5.6 },
    used: true,
    gainRatio: [1, 1.01, 0.99],
    transform: [1, 0, 0, 0, 1, 0, 0, 0, 1],
    residualPx: 0.1,
    scaleResidual: 0.0001,
    depth: number - 2,
    sharePercent: 25,
    ...over,
  };
}

/** A complete record of a made-up run over four frames; `over` replaces fields. */
export function sampleRecord(over: Partial<RunRecord> = {}): RunRecord {
  return {
    schema: runSchemaName,
    version: runSchemaVersion,
    programVersion: '0.1.0',
    startedAt: '2031-05-06T07:08:09.123Z',
    wallMs: 12_345,
    stagesMs: { list: 12, register: 3000 },
    options: {
      rule: 'auto',
      anchor: 'middle',
      crop: 'anchor',
      format: 'tif',
      direction: 'auto',
      motion: 'scale',
      skip: [],
      whiteBalance: 'camera',
      exposureStops: 0,
      colourSpace: 'srgb',
      device: 'auto',
      threads: 2,
      overwrite: false,
      strict: false,
    },
    folder: '/photographs/seed head',
    size: { width: 7, height: 5 },
    frameSize: { width: 7, height: 5 },
    bits: 16,
    channels: 3,
    orderedBy: 'name',
    direction: 'near-to-far',
    directionBy: 'growth',
    anchorNumber: 2,
    frames: [1, 2, 3, 4].map((number) => sampleFrame(number)),
    composite: { file: 'composite.tif', bits: 16, channels: 3, hasIcc: false, hasExif: false },
    maps: {
      depth: {
        file: 'depth.tif',
        unit: 'step',
        noData: 'NaN',
        positive: 'away from the camera',
        min: -1,
        max: 2,
      },
      depthPng: { file: 'depth.png', offset: -1, scale: 0.001, unit: 'step', noData: 0 },
      sources: { file: 'sources.png', noData: 0 },
      confidence: { file: 'confidence.png', scale: 1 / 255 },
      coverage: {
        file: 'coverage.png',
        classes: coverageClasses.map(({ name }, value) => ({
          value,
          name,
          colour: `#00000${value}`,
          percent: value === 0 ? 100 : 0,
        })),
      },
    },
    crop: { x: 0, y: 0, width: 7, height: 5 },
    warnings: [],
    notes: [],
    ...over,
  };
}

import { describe, expect, it } from 'vitest';
import { depthSigma } from '../../src/measure/depth-field.js';
import { distanceBetween } from '../../src/measure/distance-between.js';
import { measureResult } from '../../src/measure/measure-result.js';
import type { MeasureRequest, Quantity } from '../../src/result/measures-file.js';
import { readResult } from '../../src/result/read-result.js';
import type { MeasureRegion } from '../../src/result/region-shape.js';
import { makeSurface, type SurfaceOptions } from './made-surface.js';

const mmPerPixel = 0.004;
const stepMm = 0.02;
const scale = { mmPerPixel, stepMm };
const middle = [99.5, 74.5] as const;
const all: MeasureRegion = { kind: 'rectangle', x: 10, y: 10, width: 180, height: 130 };

async function measure(options: SurfaceOptions, request: MeasureRequest): Promise<Record<string, Quantity>> {
  const [measured] = await measureResult(await makeSurface(options), [request]);
  return Object.fromEntries(measured.quantities.map((quantity) => [quantity.name, quantity]));
}

/** Within so much of the truth, and the uncertainty reaches to it. */
function expectValue(quantity: Quantity, truth: number, within: number): void {
  expect(
    Math.abs(quantity.value! - truth),
    `${quantity.name}: ${quantity.value} for ${truth}`,
  ).toBeLessThanOrEqual(within);
  expect(quantity.uncertainty).toBeGreaterThanOrEqual(0);
  expect(quantity.uncertainty! * 1.5).toBeGreaterThanOrEqual(Math.abs(quantity.value! - truth));
}

/** A sphere of 0.5 mm whose nearest point lies before the middle of the picture. */
const radius = 0.5;
const sphere = (x: number, y: number) => {
  const off = Math.hypot(x - middle[0], y - middle[1]) * mmPerPixel;
  return radius - Math.sqrt(radius ** 2 - Math.min(off, 0.45) ** 2) - 0.04;
};
/** A cone with half an opening angle of 50 degrees. */
const cone = (x: number, y: number) =>
  (Math.hypot(x - 100, y - 75) * mmPerPixel) / Math.tan((50 * Math.PI) / 180) - 0.05;
/** A plane that leans by 30 degrees to the right. */
const lean = (x: number) => (x - middle[0]) * mmPerPixel * Math.tan(Math.PI / 6);

describe('lengths of bodies of known size', () => {
  it('distance in space, across and in the picture', async () => {
    const found = await measure(
      { ...scale, depthAt: lean },
      {
        kind: 'distance',
        points: [
          [40, 70],
          [160, 70],
        ],
      },
    );
    expectValue(found['distance in the picture'], 120, 1e-9);
    expectValue(found['distance across'], 0.48, 1e-9);
    expectValue(found['height difference'], 0.48 * Math.tan(Math.PI / 6), 1e-6);
    expectValue(found['distance in space'], 0.48 / Math.cos(Math.PI / 6), 1e-6);
  });

  it('is the same to a page, of a result that it has read', async () => {
    const folder = await makeSurface({ ...scale, depthAt: lean });
    const { quantities } = await distanceBetween(await readResult(folder), [40, 70], [160, 70]);
    const inSpace = quantities.find(({ name }) => name === 'distance in space')!;
    expectValue(inSpace, 0.48 / Math.cos(Math.PI / 6), 1e-6);
  });

  it('takes the perspective of the rail out, so that the same length is the same near and far', async () => {
    // A pixel is 10 % wider a millimetre farther away: the pupil lies 10 mm before the anchor's plane.
    const growth = 0.1;
    for (const depth of [-0.06, 0.06]) {
      const side = mmPerPixel * (1 + growth * depth);
      const found = await measure(
        { ...scale, growth, depthAt: () => depth },
        {
          kind: 'distance',
          points: [
            [40, 70],
            [160, 70],
          ],
        },
      );
      expectValue(found['distance in space'], 120 * side, 1e-5);
    }
  });

  it('angles within half a degree: of a roof, and of the flanks of a cone', async () => {
    // A ridge along y whose sides fall by 30 degrees: 120 degrees between them.
    const ridge = (x: number) => Math.abs(x - 100) * mmPerPixel * Math.tan(Math.PI / 6);
    const roof = await measure(
      { ...scale, depthAt: ridge },
      {
        kind: 'angle',
        points: [
          [40, 70],
          [100, 70],
          [160, 70],
        ],
      },
    );
    expectValue(roof['angle in the picture'], 180, 1e-9);
    expectValue(roof['angle in space'], 120, 0.5);
    const tip = await measure(
      { ...scale, depthAt: cone },
      {
        kind: 'angle',
        points: [
          [20, 75],
          [100, 75],
          [180, 75],
        ],
      },
    );
    expectValue(tip['angle in space'], 100, 0.5);
  });

  it('the radius of a sphere within 1 %', async () => {
    const region: MeasureRegion = { kind: 'rectangle', x: 50, y: 30, width: 100, height: 90 };
    const found = await measure({ ...scale, depthAt: sphere }, { kind: 'sphere', region });
    expectValue(found['radius of the sphere'], radius, 0.01 * radius);
  });

  it('areas: across, and of the surface of a plane that leans', async () => {
    const found = await measure({ ...scale, depthAt: lean }, { kind: 'area', region: all });
    const across = 180 * 130 * mmPerPixel ** 2;
    expectValue(found['area in the picture'], 180 * 130, 0);
    expectValue(found['area across'], across, 1e-9);
    expectValue(found['surface area'], across / Math.cos(Math.PI / 6), 1e-4 * across);
  });

  it('the volume of a cap against the plane of its rim, and of a dent against three points', async () => {
    // Flat but for a cap 0.05 mm high of the sphere: V = pi h² (3 r - h) / 3.
    const h = 0.05;
    const rim = Math.sqrt(radius ** 2 - (radius - h) ** 2);
    const bump = (sign: number) => (x: number, y: number) => {
      const off = Math.hypot(x - middle[0], y - middle[1]) * mmPerPixel;
      return off < rim ? -sign * (Math.sqrt(radius ** 2 - off ** 2) - (radius - h)) : 0;
    };
    const truth = (Math.PI * h * h * (3 * radius - h)) / 3;
    const cap = await measure({ ...scale, depthAt: bump(1) }, { kind: 'volume', region: all });
    expectValue(cap['volume above the plane'], truth, 0.01 * truth);
    expectValue(cap['volume below the plane'], 0, 0.01 * truth);
    const dent = await measure(
      { ...scale, depthAt: bump(-1) },
      {
        kind: 'volume',
        region: all,
        plane: [
          [12, 12],
          [180, 12],
          [100, 138],
        ],
      },
    );
    expectValue(dent['volume below the plane'], truth, 0.01 * truth);
    expectValue(dent['volume above less below'], -truth, 0.01 * truth);
  });
});

describe('step heights by ISO 5436-1', () => {
  const edge = (x: number) => (x > 0 ? 1 : 0);
  it.each([
    ['of a groove', (x: number) => 0.05 * (edge(x - 80) - edge(x - 120)), 0.05],
    ['of a ridge on a slope', (x: number) => -0.03 * (edge(x - 80) - edge(x - 120)) + 0.0004 * x, 0.03],
    ['of one edge', (x: number) => 0.05 * edge(x - 90), 0.05],
    [
      'with rounded edges, which do not count',
      (x: number) => 0.025 * (Math.tanh((x - 80) / 4) - Math.tanh((x - 120) / 4)),
      0.05,
    ],
  ])('%s: within a tenth of a step of the rail', async (_, depthAt, truth) => {
    const found = await measure(
      { ...scale, depthAt },
      {
        kind: 'step-height',
        points: [
          [20, 75],
          [180, 75],
        ],
      },
    );
    expectValue(found['step height'], truth, 0.1 * stepMm);
  });

  it('where there is none cannot be known', async () => {
    const found = await measure(
      { ...scale, depthAt: lean },
      {
        kind: 'step-height',
        points: [
          [20, 75],
          [180, 75],
        ],
      },
    );
    expect(found['step height']).toMatchObject({
      value: null,
      unknownBecause: expect.stringContaining('no step'),
    });
  });
});

describe('roughness by ISO 4287 and ISO 25178', () => {
  const amplitude = 0.03;
  // No whole number, or samples would fall on the same phases of every wave.
  const wavelengthPx = 10.37;
  const wave = (length: number) => (x: number) => amplitude * Math.sin((2 * Math.PI * x) / length);
  const line: MeasureRequest = {
    kind: 'roughness',
    points: [
      [5, 75],
      [195, 75],
    ],
    cutoff: { value: 60, unit: 'px' },
  };
  const area: MeasureRequest = { kind: 'roughness', region: all, cutoff: { value: 40, unit: 'px' } };

  it('of a sine of amplitude A: Ra and Sa are 2 A / pi, Rq and Sq A / sqrt 2', async () => {
    const depthAt = wave(wavelengthPx);
    const profile = await measure({ ...scale, depthAt }, line);
    expectValue(profile.Ra, (2 * amplitude) / Math.PI, 0.02 * amplitude);
    expectValue(profile.Rq, amplitude / Math.SQRT2, 0.02 * amplitude);
    const surface = await measure({ ...scale, depthAt: (x, y) => depthAt(x) + 0.001 * x - 0.0005 * y }, area);
    expectValue(surface.Sa, (2 * amplitude) / Math.PI, 0.02 * amplitude);
    expectValue(surface.Sq, amplitude / Math.SQRT2, 0.02 * amplitude);
    // An outline that holds half of its bounds is not short of depth.
    const outline: MeasureRegion = {
      kind: 'polygon',
      points: [
        [10, 10],
        [190, 10],
        [10, 140],
      ],
    };
    const half = await measure({ ...scale, depthAt }, { ...area, region: outline });
    expectValue(half.Sa, (2 * amplitude) / Math.PI, 0.03 * amplitude);
  });

  it('lets half of a wave pass that is as long as the cut-off (ISO 16610-21)', async () => {
    const found = await measure(
      { ...scale, width: 640, height: 20, depthAt: wave(60) },
      {
        kind: 'roughness',
        points: [
          [0, 10],
          [639, 10],
        ],
        cutoff: { value: 60, unit: 'px' },
      },
    );
    expectValue(found.Rq, amplitude / 2 / Math.SQRT2, 0.02 * amplitude);
  });

  it('takes the cut-off in mm, and one of the usual series where none is given', async () => {
    const folder = await makeSurface({ ...scale, depthAt: wave(wavelengthPx) });
    const points: MeasureRequest['points'] = [
      [5, 75],
      [195, 75],
    ];
    const [usual, given] = await measureResult(folder, [
      { kind: 'roughness', points },
      { kind: 'roughness', points, cutoff: { value: 0.24, unit: 'mm' } },
    ]);
    // 0.76 mm: 0.08 mm goes into it five times and more, 0.25 mm does not.
    expect(usual.cutoff).toEqual({ value: 0.08, unit: 'mm' });
    const [pixels] = await measureResult(folder, [line]);
    expect(given.quantities[0].value).toBeCloseTo(pixels.quantities[0].value!, 9);
  });

  it('below the errors of depth cannot be known', async () => {
    const found = await measure({ ...scale, depthAt: (x) => 0.001 * Math.sin(x) }, line);
    expect(found.Ra).toMatchObject({
      value: null,
      unknownBecause: expect.stringContaining('not above the uncertainty of depth'),
    });
  });
});

describe('what cannot be known', () => {
  const points: MeasureRequest['points'] = [
    [40, 70],
    [160, 70],
  ];

  it('without a scale lengths are in pixels and steps, and none in mm', async () => {
    const [measured] = await measureResult(await makeSurface({ depthAt: (x) => (x - 100) / 30 }), [
      { kind: 'distance', points },
    ]);
    const units = measured.quantities.map(({ name, unit, value }) => [name, unit, value === null]);
    expect(units).toEqual([
      ['distance in the picture', 'px', false],
      ['height difference', 'step', false],
      ['distance in space', 'mm', true],
    ]);
    expect(measured.quantities[1].value).toBeCloseTo(4, 5);
    expect(measured.remarks.join(' ')).toContain('lengths across are in pixels');
  });

  it('takes lengths that the merge was not given', async () => {
    const folder = await makeSurface({ depthAt: (x) => (x - 100) / 30 });
    const [measured] = await measureResult(folder, [{ kind: 'distance', points }], {
      fieldWidthMm: 0.8,
      stepMm,
    });
    const space = measured.quantities.find(({ name }) => name === 'distance in space')!;
    expect(space.value).toBeCloseTo(Math.hypot(0.48, 4 * stepMm), 5);
  });

  it('no confidence, no depth, NaN: the value is missing and says why', async () => {
    for (const options of [{ depthAt: lean, confidenceAt: () => 0.3 }, { depthAt: () => Number.NaN }]) {
      for (const request of [
        { kind: 'height', points },
        { kind: 'profile', points },
        { kind: 'step-height', points },
        { kind: 'roughness', points },
        { kind: 'volume', region: all },
        { kind: 'sphere', region: all },
        { kind: 'roughness', region: all },
      ] as MeasureRequest[]) {
        const found = Object.values(await measure({ ...scale, ...options }, request)).at(-1)!;
        expect(found, request.kind).toMatchObject({ value: null, uncertainty: null });
        expect(found.unknownBecause).toContain('no depth that may be trusted');
      }
    }
  });

  it('less confidence is more uncertainty, by the share of pixels that are right within a step', async () => {
    // Normal errors: 68.3 % lie within one standard deviation, 95.4 % within two (tables of the normal distribution).
    expect(depthSigma(0.6827, 1)).toBeCloseTo(1, 2);
    expect(depthSigma(0.9545, 1)).toBeCloseTo(0.5, 2);
    expect(depthSigma(0.49, 1)).toBe(Number.POSITIVE_INFINITY);
    const at = async (confidence: number) =>
      (
        await measure({ ...scale, depthAt: lean, confidenceAt: () => confidence }, { kind: 'height', points })
      )['height difference'].uncertainty!;
    expect(await at(0.6)).toBeGreaterThan(1.8 * (await at(0.95)));
    const folder = await makeSurface({ ...scale, depthAt: lean });
    const [none, some] = await Promise.all(
      [0, 5].map((scaleErrorPercent) =>
        measureResult(folder, [{ kind: 'area', region: all }], { scaleErrorPercent }),
      ),
    );
    const [sharp, loose] = [none, some].map(([{ quantities }]) => quantities[1]);
    // An area errs twice as much as a length; the interval is two standard uncertainties.
    expect(loose.uncertainty! / loose.value!).toBeCloseTo(2 * 2 * 0.05, 2);
    expect(sharp.uncertainty).toBeLessThan(0.1 * loose.uncertainty!);
  });

  it('requests that are wrong are refused', async () => {
    const folder = await makeSurface({ depthAt: lean });
    for (const [request, text] of [
      [{ kind: 'distance', points: [[1, 1]] }, 'Expected 2 points'],
      [
        {
          kind: 'distance',
          points: [
            [1, 1],
            [500, 1],
          ],
        },
        'points inside the picture of 200 x 150 pixels',
      ],
      [
        {
          kind: 'distance',
          points: [
            [1, 1],
            [1, 1],
          ],
        },
        'points that differ',
      ],
      [
        {
          kind: 'area',
          points: [
            [1, 1],
            [3, 3],
          ],
        },
        'Expected a region for area',
      ],
      [
        { kind: 'area', region: { kind: 'rectangle', x: 150, y: 0, width: 90, height: 2 } },
        'leaves the picture',
      ],
      [
        {
          kind: 'volume',
          region: all,
          plane: [
            [1, 1],
            [2, 2],
            [3, 3],
          ],
        },
        'do not lie on one line',
      ],
      [{ kind: 'radius' }, 'Expected "distance" or'],
    ] as unknown as [MeasureRequest, string][]) {
      await expect(measureResult(folder, [request])).rejects.toThrow(text);
    }
  });
});

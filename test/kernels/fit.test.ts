import { expect, it } from 'vitest';
import { median } from '../../src/image/median.js';
import { pieceKernels } from '../../src/kernels/piece-kernels.js';
import { seededRandom } from '../outside/seeded-random.js';

const count = 37;
const columnBytes = 4 * count;
const radiusPx = 700;
const kernels = pieceKernels();

/** Columns of tiles in the order of the kernels, at random; some tiles have no weight, some no shared errors. */
function tilesAtRandom(): Float32Array[] {
  const random = seededRandom(11);
  const column = (make: (i: number) => number) => Float32Array.from({ length: count }, (_, i) => make(i));
  const position = () => column(() => 1000 * (random() - 0.5));
  const [u, v] = [position(), position()];
  const near = (values: Float32Array) => values.map((value) => value + 3 * (random() - 0.5));
  return [
    ...[u, v, near(u), near(v)],
    column(() => 1 + random()),
    column(() => random() - 0.5),
    column(() => 1 + random()),
    column((i) => (i % 5 === 0 ? 0 : random())),
    column((i) => (i % 4 === 0 ? 0 : random())),
    column((i) => (i % 4 === 0 ? 0 : 2 * random())),
  ];
}

/** A plain statement of the model: residual and the 2 x 8 matrix of each tile, and its information. */
function modelOf(
  columns: readonly Float32Array[],
  i: number,
  start: readonly number[],
  fit: readonly number[],
) {
  const [u, v, foundU, foundV, xx, xy, yy, w, h, s] = columns.map((column) => column[i]);
  const own = [
    [u / radiusPx, -v / radiusPx, 1, 0],
    [v / radiusPx, u / radiusPx, 0, 1],
  ];
  const rows = own.map((row) => [...row, s * row[0], h * row[1], h * row[2], h * row[3]]);
  const [a, b, x, y] = start;
  const moved = [a * u - b * v + x, b * u + a * v + y];
  const residual = [foundU, foundV].map(
    (found, d) => found - moved[d] - rows[d].reduce((sum, value, k) => sum + value * fit[k], 0),
  );
  const information = [
    [xx, xy],
    [xy, yy],
  ];
  return { rows, residual, information, w };
}

it('fits sum what the model says, tile by tile', () => {
  const columns = tilesAtRandom();
  const start = [1.001, 0.002, 0.7, -0.4];
  const fit = [0.3, -0.2, 0.5, 0.1, 0.2, 0.4, -0.3, 0.6];
  const [held, spread, startAt, fitAt, normalAt, rightAt] = kernels.take(
    ...[columns.length * columnBytes, 8 * count, 32, 64, 512, 64],
  );
  const doubles = ({ buffer, byteOffset, byteLength }: Uint8Array) =>
    new Float64Array(buffer, byteOffset, byteLength / 8);
  columns.forEach((column, i) => {
    held.set(new Uint8Array(column.buffer), i * columnBytes);
  });
  doubles(startAt).set(start);
  doubles(fitAt).set(fit);
  const place = { tiles: held.byteOffset, columnBytes, count, radiusPx };
  const shared = { ...place, start: startAt.byteOffset, fit: fitAt.byteOffset };

  const normal = Array.from({ length: 8 }, () => new Array<number>(8).fill(0));
  const right = new Array<number>(8).fill(0);
  const expectedSpread: number[] = [];
  for (let i = 0; i < count; i++) {
    const { rows, residual, information, w } = modelOf(columns, i, start, fit);
    const weigh = (one: readonly number[], other: readonly number[]) =>
      one.reduce(
        (sum, value, d) => sum + value * (information[d][0] * other[0] + information[d][1] * other[1]),
        0,
      );
    expectedSpread.push(Math.sqrt(weigh(residual, residual)));
    const columnAt = (k: number) => rows.map((row) => row[k]);
    for (let k = 0; k < 8; k++) {
      right[k] += w * weigh(columnAt(k), residual);
      for (let l = k; l < 8; l++) normal[k][l] += w * weigh(columnAt(k), columnAt(l));
    }
  }
  const near = (found: Float64Array, expected: readonly number[]) => {
    const most = expected.reduce(
      (max, value, i) => Math.max(max, Math.abs(found[i] - value) / (1 + Math.abs(value))),
      0,
    );
    expect(most).toBeLessThan(1e-10);
  };
  kernels.fitDistances({ ...shared, spread: spread.byteOffset });
  near(doubles(spread), expectedSpread);
  kernels.fitEquations({ ...shared, normal: normalAt.byteOffset, right: rightAt.byteOffset });
  near(doubles(normalAt), normal.flat());
  near(doubles(rightAt), right);
});

it('a ratio of light is that of the bulk, whatever a quarter of the blocks shows', () => {
  const random = seededRandom(3);
  const source = Float64Array.from({ length: 400 }, () => 0.1 + random());
  const target = source.map((value, i) =>
    i % 4 === 0 ? 3 * random() : 1.25 * value + 0.002 * (random() - 0.5),
  );
  const parts = kernels.take(...[source, target, source].map(({ byteLength }) => byteLength), 16);
  const [{ buffer }] = parts;
  const [from, to, scratch, out] = parts.map(({ byteOffset }) => byteOffset);
  new Float64Array(buffer, from, 400).set(source);
  new Float64Array(buffer, to, 400).set(target);
  const fit = { rounds: 6, limit: 6, sigmaPerMad: 1.4826, minSigma: 1e-7 };
  kernels.robustRatio({ source: from, target: to, count: 400, scratch, out, ...fit });
  const [ratio, error] = new Float64Array(buffer, out, 2);
  expect(Math.abs(ratio - 1.25)).toBeLessThan(1e-4);
  expect(error).toBeLessThan(1e-4);
  // Of the last round: the deviations that it selected from.
  const deviations = source.map((value, i) => Math.abs(target[i] - ratio * value));
  expect(new Float64Array(buffer, scratch, 400)[200]).toBeCloseTo(median(deviations), 6);
});

it('blocks of two frames are paired where both show light, at the place to which the motion takes them', () => {
  const [width, height] = [7, 5];
  const ramp = (x: number, y: number) => 0.1 + 0.02 * x + 0.03 * y;
  const grid = (shift: number) =>
    Float32Array.from({ length: width * height }, (_, i) => ramp((i % width) - shift, Math.floor(i / width)));
  const [one, other] = [grid(0), grid(0.5)];
  one[8] = Number.NaN;
  other[17] = Number.NaN;
  const parts = kernels.take(140, 140, 280, 280);
  parts[0].set(new Uint8Array(one.buffer));
  parts[1].set(new Uint8Array(other.buffer));
  const [oneAt, otherAt, source, target] = parts.map(({ byteOffset }) => byteOffset);
  const count = kernels.lightPairs({
    ...{ one: oneAt, other: otherAt, width, height, pitch: 8, halfX: 28, halfY: 20 },
    ...{ a: 1, b: 0, moveX: 4, moveY: 0, source, target },
  });
  // Rows but for the last, columns but for the last, less one of `one` and four that read the clipped block.
  expect(count).toBe(4 * 6 - 5);
  const [sources, targets] = [source, target].map((at) => new Float64Array(parts[0].buffer, at, count));
  for (let i = 0; i < count; i++) expect(targets[i]).toBeCloseTo(sources[i], 6);
});

it('a focus curve is fitted by the width and the offset that cost least of all', () => {
  const random = seededRandom(17);
  const [widths, offsets, frames] = [4, 9, 11];
  const table = Float64Array.from({ length: widths * offsets * frames }, (_, i) => {
    const [w, o, k] = [Math.floor(i / (offsets * frames)), Math.floor(i / frames) % offsets, i % frames];
    return -2 * Math.log(1 + ((k - 5 + (o - 4) / 4) / (0.6 + 0.4 * w)) ** 2);
  });
  const places = [1, 2, 4, 5, 6, 8, 9];
  const [detection, floor, perError] = [0.2, -1, 0.09];
  for (let trial = 0; trial < 20; trial++) {
    const row = Math.floor(random() * widths * offsets) * frames;
    const values = places.map((k) => Math.max(floor, 3 + table[row + k] + 0.4 * (random() - 0.5)));
    const penalties = Float64Array.from({ length: widths }, () => random());
    const given = [table, penalties, Float64Array.from(values), Int32Array.from(places)];
    const parts = kernels.take(...given.map(({ byteLength }) => byteLength), 32);
    given.forEach((column, i) => {
      parts[i].set(new Uint8Array(column.buffer));
    });
    const [tableAt, penaltiesAt, valuesAt, placesAt, out] = parts.map(({ byteOffset }) => byteOffset);
    const [firstOffset, lastOffset] = [2, 8];
    const isFound = kernels.fitPeak({
      ...{
        values: valuesAt,
        places: placesAt,
        count: places.length,
        table: tableAt,
        widths,
        offsets,
        frames,
      },
      ...{ firstOffset, lastOffset, penalties: penaltiesAt, detection, floor, perError, out },
    });
    const trials = Array.from({ length: widths * (lastOffset - firstOffset + 1) }, (_, i) => {
      const w = Math.floor(i / (lastOffset - firstOffset + 1));
      const o = firstOffset + (i % (lastOffset - firstOffset + 1));
      const falloffs = places.map((k) => table[(w * offsets + o) * frames + k]);
      const rises = values.flatMap((value, k) => (value > detection ? [value - falloffs[k]] : []));
      const peak = rises.reduce((sum, value) => sum + value, 0) / rises.length;
      const error = values.reduce(
        (sum, value, k) => sum + Math.min((value - Math.max(floor, peak + falloffs[k])) ** 2, 1),
        0,
      );
      return { peak, error, w, o, cost: error / perError + penalties[w] };
    });
    const least = trials.reduce((best, one) => (one.cost < best.cost ? one : best));
    expect(isFound).toBe(1);
    const [peak, error, w, o] = new Float64Array(parts[0].buffer, out, 4);
    expect([w, o]).toEqual([least.w, least.o]);
    expect(peak).toBeCloseTo(least.peak, 10);
    expect(error).toBeCloseTo(least.error, 10);
  }
});

it('planes correlate as far as one is the other, shifted', () => {
  const random = seededRandom(5);
  const [width, height] = [33, 21];
  const wide = Float32Array.from({ length: 60 * 60 }, () => random() - 0.5);
  const cut = (left: number, top: number) =>
    Float32Array.from(
      { length: width * height },
      (_, i) => wide[(Math.floor(i / width) + top) * 60 + (i % width) + left],
    );
  const parts = kernels.take(4 * width * height, 4 * width * height);
  parts[0].set(new Uint8Array(cut(10, 10).buffer));
  parts[1].set(new Uint8Array(cut(13, 8).buffer));
  const place = { one: parts[0].byteOffset, other: parts[1].byteOffset, width, height };
  expect(kernels.correlateShift({ ...place, dx: -3, dy: 2 })).toBeCloseTo(1, 9);
  for (const [dx, dy] of [
    [0, 0],
    [-2, 2],
    [5, -4],
  ]) {
    expect(Math.abs(kernels.correlateShift({ ...place, dx, dy }))).toBeLessThan(0.4);
  }
});

it.each([8, 16] as const)(
  'blocks have the mean light of the samples that are read, and none where one is clipped: %i bits',
  (bits) => {
    const random = seededRandom(bits);
    const [width, side, sparse, columns] = [23, 5, 2, 4];
    const full = 2 ** bits - 1;
    const values = Array.from({ length: width * side * 3 }, () => Math.floor(0.9 * full * random()));
    // Pixel 6 of row 2 lies in the second block and is not read, pixel 12 in the third and is.
    values[3 * (2 * width + 6)] = full;
    values[3 * (2 * width + 12) + 1] = full;
    const samples = bits === 8 ? Uint8Array.from(values) : Uint16Array.from(values);
    const table = Float64Array.from({ length: 256 }, (_, i) => (i / 255) ** 2);
    const parts = kernels.take(samples.byteLength, table.byteLength, 4 * 3 * columns);
    parts[0].set(new Uint8Array(samples.buffer));
    parts[1].set(new Uint8Array(table.buffer));
    const [at, tableAt, out] = parts.map(({ byteOffset }) => byteOffset);
    const picture = { samples: at, bits, channels: 3, width };
    kernels.blockLight({ ...picture, columns, side, sparse, limit: 0.97 * full, table: tableAt, out });
    const found = new Float32Array(parts[2].buffer, out, 3 * columns);
    for (let column = 0; column < columns; column++) {
      for (let c = 0; c < 3; c++) {
        let sum = 0;
        for (const y of [0, 2, 4])
          for (const x of [0, 2, 4])
            sum += table[values[3 * (y * width + column * side + x) + c] >> (bits - 8)];
        const expected = column === 2 ? Number.NaN : Math.fround(sum / 9);
        if (Number.isNaN(expected)) expect(found[c * columns + column]).toBeNaN();
        else expect(found[c * columns + column]).toBeCloseTo(expected, 6);
      }
    }
  },
);

import { afterEach, describe, expect, it } from 'vitest';
import { Arena, type Planes } from '../../src/kernels/arena.js';
import { StripPool } from '../../src/workers/pool.js';
import { jobPlaces } from '../../src/workers/strip-job.js';

const [width, height, stripRows] = [400, 3000, 4];
/** No memory is that large, so a worker that reads there dies. */
const nowhere = 0xfff0_0000;

interface Bench {
  arena: Arena;
  pool: StripPool;
  fine: Planes;
  coarse: Planes;
}

let pools: StripPool[] = [];
afterEach(async () => {
  await Promise.all(pools.map((pool) => pool.close()));
  pools = [];
});

/** A pool over a plane of ones, and another of half its size. */
async function openBench(threads: number): Promise<Bench> {
  const arena = new Arena();
  const pool = await StripPool.start(arena, threads, 1 << 20);
  pools.push(pool);
  const fine = arena.takeCleared(width, height, 1, 4);
  arena.f32(fine.pointer - 64, fine.stride * height).fill(1);
  return { arena, pool, fine, coarse: arena.takeCleared(width / 2, height / 2, 1, 4) };
}

function reduce({ pool, fine, coarse }: Bench, from = fine.pointer): Promise<void> {
  return pool.run(
    'reduceStrip',
    {
      ...{
        fine: from,
        stride: fine.stride,
        planeBytes: fine.planeBytes,
        width,
        height,
        planes: 1,
        stripRows,
      },
      ...{ coarse: coarse.pointer, coarseStride: coarse.stride, coarsePlaneBytes: coarse.planeBytes },
    },
    Math.ceil(coarse.height / stripRows),
  );
}

/** Rows of the reduced plane that are not all ones, which is what ones are reduced to; it is blank afterwards. */
function wrongRows({ arena, coarse }: Bench): number[] {
  const plane = arena.planeF32(coarse);
  const rows = Array.from({ length: coarse.height }, (_, y) => y);
  const wrong = rows.filter((y) => {
    const row = plane.subarray(y * coarse.stride, y * coarse.stride + coarse.width);
    return row.some((value) => Math.abs(value - 1) > 1e-6);
  });
  plane.fill(0);
  return wrong;
}

describe('a pool of workers', () => {
  it.each([1, 2, 3])('of %i does every strip of a job', async (threads) => {
    const bench = await openBench(threads);
    await reduce(bench);
    expect(wrongRows(bench)).toEqual([]);
    expect(wrongRows(bench)).toHaveLength(bench.coarse.height);
  });

  it.each([1, 3])(
    'of %i rejects a job in which a worker dies, and does the next ones whole',
    async (threads) => {
      const bench = await openBench(threads);
      for (let death = 0; death < 3; death++) {
        await expect(reduce(bench, nowhere)).rejects.toThrow('memory access out of bounds');
        await reduce(bench);
        expect(wrongRows(bench)).toEqual([]);
      }
    },
  );

  it.each([1, 2, 5])(
    'of %i does jobs that are given at once one after the other, as if each had been waited for',
    async (threads) => {
      const arena = new Arena();
      const pool = await StripPool.start(arena, threads, 1 << 20);
      pools.push(pool);
      const side = 512;
      const values = [1, 2, 3, 4];
      const sources = values.map(() => arena.takeCleared(side, side, 1, 4));
      // Row ends too.
      for (const [i, { pointer, stride }] of sources.entries()) {
        arena.f32(pointer - 64, stride * side).fill(values[i]);
      }
      const between = arena.takeCleared(side / 2, side / 2, 1, 4);
      const ends = values.map(() => arena.takeCleared(side / 4, side / 4, 1, 4));
      const reduceTo = (fine: Planes, coarse: Planes, stripRows: number) => {
        const { stride, planeBytes, width, height } = fine;
        const to = { coarse, coarseStride: coarse.stride, coarsePlaneBytes: coarse.planeBytes };
        const given = { fine, stride, planeBytes, width, height, planes: 1, stripRows, ...to };
        return pool.run('reduceStrip', given, stripRows === 0 ? 0 : Math.ceil(coarse.height / stripRows));
      };
      for (let round = 0; round < 20; round++) {
        const jobs = values.flatMap((_, i) => [
          reduceTo(sources[i], between, 2),
          reduceTo(between, ends[i], 0),
          // By one worker, whatever others are still at.
          reduceTo(between, ends[i], side),
          // More than there are places for.
          ...(round % 8 === 0
            ? Array.from({ length: jobPlaces / 3 }, () => reduceTo(between, ends[i], 1))
            : []),
        ]);
        await Promise.all(jobs);
        for (const [i, { height, width, stride, ...plane }] of ends.entries()) {
          const rows = arena.planeF32({ height, width, stride, ...plane });
          for (let y = 0; y < height; y++) {
            expect(rows[y * stride + (y % width)]).toBeCloseTo(values[i], 4);
          }
        }
      }
    },
  );

  it('rejects all jobs that are under way when a worker dies, and does the next one whole', async () => {
    const bench = await openBench(3);
    const jobs = [reduce(bench), reduce(bench, nowhere), reduce(bench), reduce(bench)];
    const ends = await Promise.allSettled(jobs);
    expect(ends.slice(1).map(({ status }) => status)).toEqual(['rejected', 'rejected', 'rejected']);
    await reduce(bench);
    expect(wrongRows(bench)).toEqual([]);
  });

  it('ends the job in work when it is closed, and rejects every later one', async () => {
    const bench = await openBench(2);
    // Where it has not come to its end before.
    const job = reduce(bench).catch((error: Error) => expect(error.message).toBe('The pool is closed'));
    await bench.pool.close();
    await job;
    await expect(reduce(bench)).rejects.toThrow('The pool is closed');
  });
});

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { chooseNext, type Load, type Room, slackBytes, timeLeft } from '../../src/batch/choose-next.js';
import { paceFactor, stackNeeds } from '../../src/batch/estimate.js';
import { nextTime } from '../../src/batch/next-time.js';

const load = (fields: Partial<Load> = {}): Load => ({
  ...{ modelMs: 1000, estimateMs: 1000, memoryMb: 500, diskBytes: 1e6, threads: 2 },
  ...fields,
});
const room = (fields: Partial<Room> = {}): Room => ({
  ...{ threads: 4, memoryMb: 2000, freeBytes: 1e9, nowMs: 0 },
  ...fields,
});

describe('what is started next', () => {
  it('is the first that waits, beside another when threads and memory suffice for both', () => {
    expect(chooseNext([load()], [load()], room())).toEqual({ choice: 'start' });
    expect(chooseNext([load({ threads: 3 })], [load()], room())).toEqual({ choice: 'wait' });
    expect(chooseNext([load({ memoryMb: 1600 })], [load()], room())).toEqual({ choice: 'wait' });
  });

  it('is a stack too great for the memory only when nothing else runs', () => {
    expect(chooseNext([load({ memoryMb: 9000 })], [], room())).toEqual({ choice: 'start' });
  });

  it('is nothing that would end later than it may', () => {
    const waiting = [load({ estimateMs: 61_000 })];
    expect(chooseNext(waiting, [], room({ untilMs: 60_000 }))).toEqual({ choice: 'put off', why: 'until' });
    expect(chooseNext(waiting, [], room({ untilMs: 61_000 }))).toEqual({ choice: 'start' });
  });

  it('is nothing for which the disk has no room', () => {
    const waiting = [load({ diskBytes: 1e6 })];
    expect(chooseNext(waiting, [], room({ freeBytes: 1e6 + slackBytes - 1 }))).toEqual({
      choice: 'put off',
      why: 'no disk',
    });
    expect(chooseNext(waiting, [], room({ freeBytes: 1e6 + slackBytes }))).toEqual({ choice: 'start' });
  });

  it('never overbooks the machine, and always goes on, whatever waits', () => {
    const loads = fc.array(
      fc.record({ threads: fc.integer({ min: 1, max: 4 }), memoryMb: fc.integer({ min: 1, max: 2500 }) }),
      { maxLength: 12 },
    );
    fc.assert(
      fc.property(loads, (given) => {
        const waiting = given.map(load);
        const running: Load[] = [];
        let started = 0;
        while (waiting.length > 0) {
          const { choice } = chooseNext(waiting, running, room());
          if (choice === 'wait') {
            expect(running.length).toBeGreaterThan(0);
            running.shift();
            continue;
          }
          expect(choice).toBe('start');
          running.push(waiting.shift()!);
          started++;
          if (running.length > 1) {
            expect(running.reduce((sum, { threads }) => sum + threads, 0)).toBeLessThanOrEqual(4);
            expect(running.reduce((sum, { memoryMb }) => sum + memoryMb, 0)).toBeLessThanOrEqual(2000);
          }
        }
        expect(started).toBe(given.length);
      }),
    );
  });
});

describe('time left', () => {
  it('counts stacks that leave threads free side by side', () => {
    expect(timeLeft([load(), load(), load({ threads: 4 })], [], 4)).toBe(2000);
    expect(timeLeft([], [{ ...load({ threads: 4 }), elapsedMs: 300 }], 4)).toBe(700);
    // One that leaves threads free is done no sooner for that.
    expect(timeLeft([load()], [], 4)).toBe(1000);
    expect(timeLeft([], [{ ...load(), elapsedMs: 300 }], 4)).toBe(700);
    expect(timeLeft([], [{ ...load(), elapsedMs: 5000 }], 4)).toBe(0);
  });
});

describe('needs of a stack', () => {
  const facts = { size: { width: 6000, height: 4000 }, frames: 40, channels: 3, bits: 8 } as const;
  const small = { ...facts, size: { width: 1600, height: 1200 } };
  const budget = { threads: 4, memoryMb: 16_000 };

  it('leave room for a second where frames are small and memory suffices for both', () => {
    expect(stackNeeds(small, budget).threads).toBe(2);
    expect(stackNeeds(facts, budget).threads).toBe(4);
    expect(stackNeeds(small, { threads: 1, memoryMb: 16_000 }).threads).toBe(1);
    expect(stackNeeds(small, { threads: 4, memoryMb: 600 })).toMatchObject({ threads: 4, isSmall: false });
  });

  it('grow with frames and pixels, memory hardly with frames', () => {
    const more = stackNeeds({ ...facts, frames: 80 }, budget);
    expect(more.modelMs).toBeGreaterThan(stackNeeds(facts, budget).modelMs);
    const grown = more.memoryMb / stackNeeds(facts, budget).memoryMb;
    expect(grown).toBeGreaterThan(1);
    expect(grown).toBeLessThan(1.02);
    expect(stackNeeds({ ...facts, bits: 16 }, budget).diskBytes).toBeGreaterThan(
      stackNeeds(facts, budget).diskBytes,
    );
  });

  it('take fewer threads where more would not fit the memory', () => {
    const { threads, memoryMb } = stackNeeds(small, { threads: 64, memoryMb: 700 });
    expect(threads).toBeGreaterThan(4);
    expect(threads).toBeLessThan(64);
    expect(memoryMb).toBeLessThanOrEqual(700);
  });

  it('are corrected by what stacks took here, of which the odd one does not count', () => {
    expect(paceFactor([])).toBe(1);
    const runs = [3, 3.1, 2.9, 3, 400].map((ratio) => ({ wallMs: 1000 * ratio, modelMs: 1000 }));
    expect(paceFactor(runs)).toBe(3);
  });
});

describe('the end of the night', () => {
  it('is the next time at which the clock shows it', () => {
    const evening = new Date(2026, 10, 25, 22, 15);
    expect(new Date(nextTime(6, 30, evening))).toEqual(new Date(2026, 10, 26, 6, 30));
    expect(new Date(nextTime(23, 0, evening))).toEqual(new Date(2026, 10, 25, 23, 0));
    expect(new Date(nextTime(22, 15, evening))).toEqual(new Date(2026, 10, 26, 22, 15));
  });
});

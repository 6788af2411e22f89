import { EventEmitter } from 'node:events';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { interruptible } from '../../src/cli/interruptible.js';
import { InputError, InterruptedError } from '../../src/errors.js';

let signals: EventEmitter;
const force = vi.fn();

beforeEach(() => {
  signals = new EventEmitter();
  force.mockReset();
  vi.useFakeTimers();
});

afterEach(() => {
  vi.useRealTimers();
  expect(signals.listenerCount('SIGINT') + signals.listenerCount('SIGTERM')).toBe(0);
});

/** Work that ends as `settle` says once it is told to stop. */
function stoppable(settle: 'resolve' | Error) {
  return (signal: AbortSignal): Promise<string> =>
    new Promise((resolve, reject) => {
      signal.addEventListener('abort', () => (settle === 'resolve' ? resolve('whole') : reject(settle)));
    });
}

/** Work that hears nothing. */
const deaf = (): Promise<never> => new Promise(() => {});

describe('without a signal', () => {
  it('the answer and the error of the work come through', async () => {
    await expect(interruptible(signals, async () => 5, force)).resolves.toBe(5);
    const error = new InputError('No frames.');
    await expect(interruptible(signals, () => Promise.reject(error), force)).rejects.toBe(error);
    await vi.advanceTimersByTimeAsync(10_000);
    expect(force).not.toHaveBeenCalled();
  });
});

describe.each(['SIGINT', 'SIGTERM'])('%s', (name) => {
  it('aborts the work, which then ends by itself', async () => {
    const error = new InterruptedError();
    const run = interruptible(signals, stoppable(error), force);
    signals.emit(name);
    await expect(run).rejects.toBe(error);
    expect(force).not.toHaveBeenCalled();
  });

  it('makes any error of the work an interruption', async () => {
    const run = interruptible(signals, stoppable(new Error('aborted')), force);
    signals.emit(name);
    await expect(run).rejects.toThrow(InterruptedError);
  });

  it('keeps a result that was finished all the same', async () => {
    const run = interruptible(signals, stoppable('resolve'), force);
    signals.emit(name);
    await expect(run).resolves.toBe('whole');
  });

  it('ends work that does not settle, within a second and not before it had time', async () => {
    const run = interruptible(signals, deaf, force);
    const ended = vi.fn();
    run.catch(ended);
    signals.emit(name);
    await vi.advanceTimersByTimeAsync(500);
    expect(ended).not.toHaveBeenCalled();
    await vi.advanceTimersByTimeAsync(400);
    expect(force).toHaveBeenCalledOnce();
    await expect(run).rejects.toThrow(InterruptedError);
  });

  it('a second time ends at once', async () => {
    const run = interruptible(signals, deaf, force);
    run.catch(() => {});
    signals.emit(name);
    await vi.advanceTimersByTimeAsync(150);
    signals.emit('SIGINT');
    expect(force).toHaveBeenCalledOnce();
    await expect(run).rejects.toThrow(InterruptedError);
  });

  it('is not counted twice when a parent process hands it on', async () => {
    const run = interruptible(signals, deaf, force);
    run.catch(() => {});
    signals.emit(name);
    await vi.advanceTimersByTimeAsync(10);
    signals.emit(name);
    expect(force).not.toHaveBeenCalled();
    await vi.advanceTimersByTimeAsync(1000);
    await expect(run).rejects.toThrow(InterruptedError);
  });
});

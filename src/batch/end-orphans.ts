import { setTimeout as delay } from 'node:timers/promises';
import { isLiving, type ProcessIdentity } from '../result/process-identity.js';
import type { NightState } from './night-state.js';

/** A process whose batch is gone ends by itself; how long it is given. */
const patienceMs = 5000;
const stepMs = 50;

/**
 * Waits for the processes of a batch that was killed, and ends those that do not end by themselves: two must never
 * work on one stack. To be called before a new batch takes up its stacks.
 */
export async function endOrphans(night: NightState): Promise<void> {
  const orphans = [...night.stacks.values()].flatMap(({ state, start }): ProcessIdentity[] =>
    state === 'running' && start && start.pid !== null && start.began !== null
      ? [{ pid: start.pid, host: start.host, began: start.began }]
      : [],
  );
  for (let waitedMs = 0; waitedMs < patienceMs; waitedMs += stepMs) {
    if (!orphans.some((orphan) => isLiving(orphan))) return;
    await delay(stepMs);
  }
  for (const orphan of orphans) {
    if (isLiving(orphan)) process.kill(orphan.pid, 'SIGKILL');
  }
  while (orphans.some((orphan) => isLiving(orphan))) await delay(stepMs);
}

import { type ChildProcess, fork } from 'node:child_process';

/** A process of its own that does the work of a job and is spoken to by messages. */
export interface JobProcess<Command> {
  child: ChildProcess;
  send(command: Command): void;
  /** Asks it to end, and ends it when it has not after a while. */
  stop(): void;
}

/**
 * Starts a process for a job.
 *
 * @param file Its script.
 * @param stderr What becomes of what it prints there.
 * @param killMs Time that it has to end once it is asked to.
 */
export function startJobProcess<Command>(
  file: string,
  stderr: 'ignore' | 'pipe',
  killMs: number,
): JobProcess<Command | { type: 'stop' }> {
  const child = fork(file, [], { stdio: ['ignore', 'ignore', stderr, 'ipc'] });
  const send = (command: Command | { type: 'stop' }): void => {
    // A closed channel shows as the end of the process.
    if (child.connected) child.send(command as object, () => {});
  };
  return {
    child,
    send,
    stop() {
      send({ type: 'stop' });
      const timer = setTimeout(() => child.kill('SIGKILL'), killMs);
      for (const end of ['error', 'close']) child.once(end, () => clearTimeout(timer));
    },
  };
}

/** Why work on a device ended; the processor can do the same. */
export type GpuFailure = 'missing' | 'memory' | 'lost' | 'refused';

/** A device is not there, went away or cannot do what is asked. The message is for people, without a full stop. */
export class GpuError extends Error {
  constructor(
    readonly failure: GpuFailure,
    message: string,
  ) {
    super(message);
  }
}

import { exitCodes, InputError, LamellaError, named, OutputError } from '../errors.js';

/** Why work in another thread failed. */
export interface ThreadFailure {
  failed: string;
  /** Of a failure that the user can act on. */
  told?: { text: string; exitCode: number };
  /** Of a failure of the system. */
  code?: string;
}

export function failureOf(error: Error): ThreadFailure {
  const { code } = error as NodeJS.ErrnoException;
  return {
    failed: error.stack ?? String(error),
    ...(error instanceof LamellaError && {
      told: { text: error.messageWith(named), exitCode: error.exitCode },
    }),
    ...(typeof code === 'string' && { code }),
  };
}

/** The error of another thread in this one. */
export function errorOf({ failed, told, code }: ThreadFailure): Error {
  if (told?.exitCode === exitCodes.output) return new OutputError(told.text);
  if (told?.exitCode === exitCodes.input) return new InputError(told.text);
  if (told) return new LamellaError(told.text, told.exitCode);
  return Object.assign(new Error(failed), code !== undefined && { code });
}

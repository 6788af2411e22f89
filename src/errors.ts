/** Exit codes of every command; documented in README and at the end of each command's help. */
export const exitCodes = { ok: 0, bug: 1, usage: 2, input: 3, output: 4, interrupted: 130 } as const;

/**
 * A failure that the user can act on: printed as its message alone, without a stack.
 * The message names the file or value, says what is wrong, and what to do about it.
 */
export class LamellaError extends Error {
  constructor(
    message: string,
    readonly exitCode: number,
    options?: ErrorOptions,
  ) {
    super(message, options);
    this.name = new.target.name;
  }
}

/** A bad option or combination of options (exit code 2). */
export class UsageError extends LamellaError {
  constructor(message: string, options?: ErrorOptions) {
    super(message, exitCodes.usage, options);
  }
}

/** Frames that cannot be read or do not form a stack (exit code 3). */
export class InputError extends LamellaError {
  constructor(message: string, options?: ErrorOptions) {
    super(message, exitCodes.input, options);
  }
}

/** A result that cannot be written (exit code 4). */
export class OutputError extends LamellaError {
  constructor(message: string, options?: ErrorOptions) {
    super(message, exitCodes.output, options);
  }
}

/** The run was stopped by its AbortSignal (exit code 130). */
export class InterruptedError extends LamellaError {
  constructor(message = 'Interrupted: nothing was written.') {
    super(message, exitCodes.interrupted);
  }
}

import { optionName } from './option-names.js';

/** Exit codes of every command; documented in the guide and at the end of each command's help. */
export const exitCodes = {
  ok: 0,
  bug: 1,
  usage: 2,
  input: 3,
  output: 4,
  system: 5,
  /** All is written, but it is no success: somebody has to look. */
  look: 6,
  interrupted: 130,
} as const;

/** What enclose the name of an option in the text of an error; characters that no file name is likely to hold. */
const [nameStart, nameEnd] = ['\u{e000}', '\u{e001}'];

/** An option in the text of an error, by the name that programs give it, such as `stepMm`: see `messageWith`. */
export function named(option: string): string {
  return `${nameStart}${option}${nameEnd}`;
}

/**
 * A failure that the user can act on: printed as its message alone, without a stack.
 * The message names the file or value, says what is wrong, and what to do about it.
 */
export class LamellaError extends Error {
  readonly #text: string;

  /** @param text The message, in which `named` marks the names of options. */
  constructor(
    text: string,
    readonly exitCode: number,
    options?: ErrorOptions,
  ) {
    super(nameOptions(text, optionName), options);
    this.#text = text;
    this.name = new.target.name;
  }

  /**
   * The message with options called as those call them who read it.
   *
   * @param nameOf The name of an option, such as `--step` for `stepMm`. In `message` a program reads the field itself.
   */
  messageWith(nameOf: (option: string) => string): string {
    return nameOptions(this.#text, nameOf);
  }
}

function nameOptions(text: string, nameOf: (option: string) => string): string {
  return text.replaceAll(/\u{e000}(.*?)\u{e001}/gu, (_, option: string) => nameOf(option));
}

/** What is wrong with the value of an option. */
export interface OptionFault {
  /** Name of the option's field, such as `stepMm`. */
  option: string;
  /** The values that it takes, in words, such as `a number from 0.00001 to 1000 mm`. */
  range: string;
  /** The value that was given. */
  value: unknown;
}

/** A bad option or combination of options (exit code 2). */
export class UsageError extends LamellaError {
  /** The option whose value is wrong, what it takes and what it got; absent where options contradict each other. */
  readonly option?: string;
  readonly range?: string;
  readonly value?: unknown;

  constructor(text: string, options: ErrorOptions & { fault?: OptionFault } = {}) {
    const { fault, ...others } = options;
    super(text, exitCodes.usage, others);
    if (fault) Object.assign(this, fault);
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

/** What the machine, or the limits of a session on it, did not give. */
export type SystemFault =
  | 'memory'
  | 'worker-memory'
  | 'address-space'
  | 'threads'
  | 'graphics'
  | 'open-files'
  | 'temporary-folder'
  | 'working-folder';

/** The machine does not give what the work needs (exit code 5). */
export class SystemError extends LamellaError {
  constructor(
    readonly fault: SystemFault,
    message: string,
    options?: ErrorOptions,
  ) {
    super(message, exitCodes.system, options);
  }
}

/** The run was stopped by its AbortSignal (exit code 130). */
export class InterruptedError extends LamellaError {
  constructor(message = 'Interrupted: nothing was written.') {
    super(message, exitCodes.interrupted);
  }
}

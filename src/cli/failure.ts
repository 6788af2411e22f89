import { type Command, CommanderError } from 'commander';
import { exitCodes, LamellaError } from '../errors.js';
import { printable, printableLines } from '../printable.js';
import { systemFailureOf } from '../system-failure.js';
import { compiledStack } from './compiled-stack.js';
import { flagName } from './flag-names.js';

/** How a command that threw ends. */
export interface Failure {
  exitCode: number;
  /** What to print on stderr; empty when all has been said. */
  message: string;
}

/**
 * Errors meant for the user become their message, with options by their flags; anything else is a defect and shows its
 * stack.
 *
 * @param command The command that was called.
 */
export function describeFailure(error: unknown, command?: Command): Failure {
  if (error instanceof LamellaError) {
    const message = error.messageWith((option) => flagName(option, command));
    return { exitCode: error.exitCode, message };
  }
  if (error instanceof CommanderError) {
    // Commander has printed help, version or its message already. Help that was asked for is no failure.
    return { exitCode: error.exitCode === 0 ? exitCodes.ok : exitCodes.usage, message: '' };
  }
  const failure = systemFailureOf(error);
  if (failure) return { exitCode: failure.exitCode, message: failure.message };
  const trace = error instanceof Error ? compiledStack(error.stack ?? error.message) : String(error);
  return {
    exitCode: exitCodes.bug,
    message: `${trace}\nThis is a defect of Lamella: please report it with the lines above.`,
  };
}

/** A failure's message for a terminal: one line, but the stack of a defect. */
export function printableMessage(message: string, exitCode: number): string {
  return exitCode === exitCodes.bug ? printableLines(message) : printable(message);
}

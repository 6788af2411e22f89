import { Command } from 'commander';
import { exitCodes } from '../errors.js';
import { callOptions } from '../option-names.js';
import { printable, printableLines } from '../printable.js';
import { commands } from './commands.js';
import { describeFailure, printableMessage } from './failure.js';
import { flagName } from './flag-names.js';
import { helpCommand } from './help-command.js';
import type { System } from './system.js';

const epilogue = `
Exit codes: 0 done, 1 defect of Lamella, 2 usage, 3 input, 4 output, 5 system,
6 complete but look at it, 130 interrupted.

Example:
  lamella merge bee-head --out bee-head-merged

More: "lamella help" lists the pages of the guide.`;

/** Run one command line (without node and script name); resolves with the exit code and never rejects. */
export async function runCli(args: readonly string[], version: string, system: System): Promise<number> {
  const program = new Command('lamella')
    .description(
      'One picture that is sharp throughout, from a folder of photographs that each are in one thin slab.',
    )
    .helpOption('-h, --help', 'show this help')
    .helpCommand(false)
    .version(version, '--version', 'show the version')
    .addHelpText('after', epilogue);
  for (const command of [program, ...commands.map((make) => make(system)), helpCommand(program, system)]) {
    if (command !== program) program.addCommand(command);
    const path = command === program ? 'lamella' : `lamella ${command.name()}`;
    command
      .exitOverride()
      .showHelpAfterError(`Run "${path} --help" for what is possible.`)
      .configureOutput({
        writeOut: (text) => system.stdout.write(text),
        writeErr: (text) => system.stderr.write(printableLines(text)),
        outputError: (text, write) => write(commanderLines(text)),
      });
  }
  const callAsBefore = callOptions((option) => flagName(option));
  try {
    // Without a command, the whole job.
    await program.parseAsync(args.length === 0 ? ['desk'] : args, { from: 'user' });
    return exitCodes.ok;
  } catch (error) {
    const called = program.commands.find((command) => command.name() === args[0]);
    const { message, exitCode } = describeFailure(error, called);
    // The terminal has echoed ^C at the start of the line: the message overwrites it.
    const start = exitCode === exitCodes.interrupted && system.stderr.isTTY ? '\r' : '';
    if (message !== '') system.stderr.write(`${start}lamella: ${printableMessage(message, exitCode)}\n`);
    return exitCode;
  } finally {
    callAsBefore();
  }
}

/** What commander says of a command line: a line, which may repeat an argument, and below it what may have been meant. */
function commanderLines(text: string): string {
  const [said, ...meant] = text.trimEnd().split(/\n(?=\(Did you mean )/);
  return `${[printable(said.replace(/^error: /, 'lamella: ')), ...meant].join('\n')}\n`;
}

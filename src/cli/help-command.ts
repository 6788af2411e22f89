import { Command } from 'commander';

/** `lamella help [COMMAND]`. Commander's own shows the help of the program for a command that is not there. */
export function helpCommand(program: Command): Command {
  return new Command('help')
    .description('show the help of a command')
    .argument('[command]', 'the command (default: the program itself)')
    .helpOption('-h, --help', 'show this help')
    .action(async (name?: string) => {
      const asked =
        name === undefined ? program : program.commands.find((command) => command.name() === name);
      if (asked) asked.outputHelp();
      // As if it had been called: the program says that it is unknown, and what may be meant.
      else await program.parseAsync([name as string], { from: 'user' });
    });
}

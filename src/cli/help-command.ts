import { Command } from 'commander';
import { guideTopics, isGuideTopic, readGuidePage } from '../guide/pages.js';
import type { System } from './system.js';

/**
 * `lamella help [COMMAND|TOPIC]`: the help of a command, or a page of the guide. Commander's own shows the help of the
 * program for a command that is not there.
 */
export function helpCommand(program: Command, system: System): Command {
  return new Command('help')
    .description('show the help of a command, or a page of the guide')
    .argument('[topic]', 'a command or a topic (default: the program itself and all topics)')
    .helpOption('-h, --help', 'show this help')
    .action(async (name?: string) => {
      if (name !== undefined && isGuideTopic(name)) {
        const { pageText } = await import('../guide/page-text.js');
        system.stdout.write(pageText(readGuidePage(name).text, system.stdout.columns));
        return;
      }
      const asked =
        name === undefined ? program : program.commands.find((command) => command.name() === name);
      if (asked) asked.outputHelp();
      // As if it had been called: the program says that it is unknown, and what may be meant.
      else await program.parseAsync([name as string], { from: 'user' });
      if (name === undefined) system.stdout.write(topicList());
    });
}

function topicList(): string {
  const longest = Math.max(...guideTopics.map((topic) => topic.length));
  const lines = guideTopics.map((topic) => `  ${topic.padEnd(longest + 2)}${readGuidePage(topic).title}`);
  return `\nThe guide, page by page (lamella help TOPIC):\n${lines.join('\n')}\n`;
}

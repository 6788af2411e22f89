import type { Command, Option } from 'commander';

/**
 * Brings the tables of options on a page of the guide up to date: what stands between `<!-- options of NAME -->` and
 * `<!-- end of options -->` becomes the table of that command's options.
 *
 * @throws RangeError when a page names a command that there is none of.
 */
export function updateOptionTables(text: string, commands: readonly Command[]): string {
  return text.replaceAll(
    /(<!-- options of (\S+) -->\n)[\s\S]*?(<!-- end of options -->)/g,
    (_, start: string, name: string, end: string) => {
      const command = commands.find((candidate) => candidate.name() === name);
      if (!command) throw new RangeError(`Expected the name of a command but received ${name}`);
      return `${start}\n${optionTables(command)}\n${end}`;
    },
  );
}

/** The options of a command as Markdown, a table for each group. */
function optionTables(command: Command): string {
  const groups = new Map<string, Option[]>();
  for (const option of command.options) {
    const group = option.helpGroupHeading?.replace(/:$/, '') ?? '';
    groups.set(group, [...(groups.get(group) ?? []), option]);
  }
  return [...groups]
    .map(([group, options]) => {
      const rows = options.map(({ flags, description }) => `| \`${cell(flags)}\` | ${cell(description)} |`);
      const heading = group === '' ? '' : `**${group}**\n\n`;
      return `${heading}| option | meaning |\n| --- | --- |\n${rows.join('\n')}\n`;
    })
    .join('\n');
}

function cell(text: string): string {
  return text.replaceAll('|', '\\|');
}

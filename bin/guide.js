// Writes the tables of options in the pages of the guide anew, from the options that the built program declares.
import { readFileSync, writeFileSync } from 'node:fs';
import { commands } from '../dist/cli/commands.js';
import { updateOptionTables } from '../dist/guide/option-tables.js';
import { guideFiles, guideFolder } from '../dist/guide/pages.js';

const made = commands.map((make) => make(process));
for (const topic of guideFiles()) {
  const file = new URL(`${topic}.md`, guideFolder);
  writeFileSync(file, updateOptionTables(readFileSync(file, 'utf8'), made));
}

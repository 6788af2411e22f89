import { mkdir } from 'node:fs/promises';
import { homedir } from 'node:os';
import { isAbsolute, join } from 'node:path';
import { writeAside } from '../result/output-file.js';
import { mapShape, objectShape, oneOfShape, textShape } from '../result/shape.js';
import { readBoundedText } from '../stack/regular-file.js';

/** Texts of the fields of a plan by their names, as the page has them. */
export type PlanValues = Record<string, string>;

export const planValuesShape = mapShape(textShape(/^.{0,200}$/s, 'a text of at most 200 characters'));

const schema = 'lamella-plan';
const fileShape = objectShape<{ schema: typeof schema; version: 1; values: PlanValues }>({
  schema: oneOfShape(schema),
  version: oneOfShape(1),
  values: planValuesShape,
});
const fileName = 'plan.json';
const maxBytes = 64_000;

/** Where programs of this system keep what a user has set, for Lamella. */
export function settingsFolder(
  env: NodeJS.ProcessEnv = process.env,
  platform: NodeJS.Platform = process.platform,
  home: string = homedir(),
): string {
  if (platform === 'win32') return join(env.APPDATA ?? join(home, 'AppData', 'Roaming'), 'Lamella');
  if (platform === 'darwin') return join(home, 'Library', 'Application Support', 'Lamella');
  const given = env.XDG_CONFIG_HOME;
  return join(given !== undefined && isAbsolute(given) ? given : join(home, '.config'), 'lamella');
}

/** The plan that was kept; none where there is none, or what is there cannot be read as one. */
export async function readKeptPlan(folder: string): Promise<PlanValues> {
  try {
    const content: unknown = JSON.parse(await readBoundedText(join(folder, fileName), maxBytes));
    return fileShape(content, '') ? {} : (content as { values: PlanValues }).values;
  } catch {
    return {};
  }
}

/** Keeps a plan for the next start. Throws OutputError where it cannot be written. */
export async function keepPlan(folder: string, values: PlanValues): Promise<void> {
  await mkdir(folder, { recursive: true });
  await writeAside(join(folder, fileName), `${JSON.stringify({ schema, version: 1, values }, null, 2)}\n`);
}

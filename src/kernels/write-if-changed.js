import { readFileSync, writeFileSync } from 'node:fs';

/** Writes a text to a file, which is left alone where nothing changed, so that its time does not make the build look old. */
export function writeIfChanged(file, text) {
  let written;
  try {
    written = readFileSync(file, 'utf8');
  } catch {}
  if (written !== text) writeFileSync(file, text);
}

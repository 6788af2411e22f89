import { accessSync, constants, existsSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { type Browser, chromium, type Page } from 'playwright-core';

const names = ['chromium', 'chromium-browser', 'google-chrome-stable', 'google-chrome', 'microsoft-edge'];

/**
 * A browser of the Chromium family: the one that CHROMIUM names, one in the search path, or one that playwright-core has
 * installed for itself. Undefined where there is none.
 */
export function findBrowser(): string | undefined {
  const named = process.env.CHROMIUM;
  if (named) return named;
  for (const folder of (process.env.PATH ?? '').split(delimiter)) {
    for (const name of names) {
      const path = join(folder, name);
      if (isExecutable(path)) return path;
    }
  }
  const own = chromium.executablePath();
  return own && existsSync(own) ? own : undefined;
}

export function launchBrowser(executablePath: string): Promise<Browser> {
  // As root, as in a container, Chromium starts without its sandbox only.
  return chromium.launch({ executablePath, args: ['--no-sandbox'] });
}

/** Adds to `problems` what goes wrong in the scripts of a page, and the errors that its console shows. */
export function noteErrors(page: Page, problems: string[]): void {
  page.on('pageerror', (error) => problems.push(error.message));
  page.on('console', (message) => {
    if (message.type() === 'error') problems.push(message.text());
  });
}

function isExecutable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return true;
  } catch {
    return false;
  }
}

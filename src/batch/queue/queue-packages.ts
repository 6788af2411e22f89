import { readFileSync } from 'node:fs';
import { UsageError } from '../../errors.js';

/**
 * Loads a module that imports the packages of the queue. They are optional: who merges on one machine does not
 * install them.
 *
 * @throws UsageError with the packages to install when one of them is missing. Any other failure is passed on.
 */
export async function loadQueueModule<Module>(load: () => Promise<Module>): Promise<Module> {
  try {
    return await load();
  } catch (error) {
    const packages = queuePackages();
    const missing = missingPackage(error);
    if (missing === undefined || !packages.has(missing)) throw error;
    const names = [...packages.keys()].join(' and ');
    const wanted = [...packages].map(([name, range]) => `${name}@${majorOf(range)}`).join(' ');
    throw new UsageError(
      `The queue needs the packages ${names}, and ${missing} is not installed. Install them where Lamella is installed: npm install ${wanted} (npm install -g ${wanted} if Lamella was installed with -g).`,
      { cause: error },
    );
  }
}

/** The optional packages of package.json that are the queue's, with their version ranges. */
function queuePackages(): Map<string, string> {
  const manifest: unknown = JSON.parse(
    readFileSync(new URL('../../../package.json', import.meta.url), 'utf8'),
  );
  const { peerDependencies } = manifest as { peerDependencies: Record<string, string> };
  return new Map(['bullmq', 'ioredis'].map((name) => [name, peerDependencies[name]]));
}

/** Name of the package that an import did not find; undefined when it failed for another reason. */
function missingPackage(error: unknown): string | undefined {
  if (!(error instanceof Error) || (error as NodeJS.ErrnoException).code !== 'ERR_MODULE_NOT_FOUND')
    return undefined;
  return /Cannot find package '([^']+)'/.exec(error.message)?.[1];
}

function majorOf(range: string): string {
  return /\d+/.exec(range)?.[0] ?? 'latest';
}

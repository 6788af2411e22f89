import { optionName } from '../option-names.js';
import { checkPort, serveLocally } from './local-server.js';
import { answer } from './routes.js';
import { Viewer, type ViewerOptions } from './viewer.js';

/** How a result is served. */
export interface ServeOptions extends Pick<ViewerOptions, 'framesFrom'> {
  /** 1 to 65535. Default: a free one. */
  port?: number | undefined;
}

/** A page that is being served. */
export interface Served {
  /** With the token; whoever has it can see the result and mend it. */
  address: string;
  viewer: Viewer;
  /** Ends the page and frees what it holds. */
  close(): Promise<void>;
}

/**
 * Serves the page over a result on this machine alone.
 *
 * @throws UsageError when the port is none or is taken; InputError when the folder is no result.
 */
export async function serveResult(folder: string, options: ServeOptions = {}): Promise<Served> {
  checkPort(options.port);
  const missingRemedy = `If they moved, open the result with ${optionName('framesFrom')} FOLDER.`;
  const viewer = await Viewer.open(folder, { ...options, missingRemedy });
  let server: Awaited<ReturnType<typeof serveLocally>>;
  try {
    server = await serveLocally(options.port, (request, path, gone) => answer(viewer, request, path, gone));
  } catch (error) {
    await viewer.close();
    throw error;
  }
  viewer.prepare();
  return {
    address: server.address,
    viewer,
    async close() {
      await server.close();
      await viewer.close();
    },
  };
}

import { spawn } from 'node:child_process';

/**
 * Opens an address in the browser of this machine. It is read by every user of the machine for as long as the browser
 * lives: it must be of no use by then.
 *
 * @returns Whether there is a screen to open it on; whether a browser came, nobody says.
 */
export function openBrowser(address: string): boolean {
  const opener = openerOf(process.platform, process.env);
  if (!opener) return false;
  const [program, ...args] = opener;
  const child = spawn(program, [...args, address], { stdio: 'ignore', detached: true });
  child.once('error', () => {});
  child.unref();
  return true;
}

/** The program that opens an address, with its arguments; undefined where there is no screen. */
export function openerOf(
  platform: NodeJS.Platform,
  environment: NodeJS.ProcessEnv,
): readonly [string, ...string[]] | undefined {
  if (platform === 'darwin') return ['open'];
  if (platform === 'win32') return ['rundll32', 'url.dll,FileProtocolHandler'];
  const hasScreen = Boolean(environment.DISPLAY || environment.WAYLAND_DISPLAY);
  return hasScreen ? ['xdg-open'] : undefined;
}

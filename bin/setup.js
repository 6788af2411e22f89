// Makes a clone ready to run: installs what package-lock.json names, builds what src holds.
// Says nothing when there is nothing to do. Uses Node alone, for it runs before anything is installed.
import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const oldestNode = 20;

/** The module that is compiled last, by the second of two compilers: when it is new, all of dist is. */
const lastBuilt = 'dist/kernels/lamella.wasm';
const firstBuilt = 'dist/bundles/main.js';

const withinSetUp = 'LAMELLA_WITHIN_SETUP';

/** Settings of an npm that called us, such as `npm install -g`, that are not for the npm that we call. */
const callersSettings = ['global', 'location', 'prefix', 'dry_run', 'json', 'ignore_scripts'];

/** Install and build where needed. Ends the process with a message when that fails. */
export function setUp() {
  const major = Number(process.versions.node.split('.')[0]);
  if (major < oldestNode) {
    giveUp(`Lamella needs Node ${oldestNode} or later, and this is Node ${process.versions.node}.`);
  }
  if (!isInstalled()) install();
  if (!isBuilt()) build();
}

/** Install what package-lock.json names. */
export function install() {
  // Compilers and test runner are needed too, whatever NODE_ENV says.
  run('Installing packages (npm ci)', ['ci', '--include=dev', '--no-audit', '--no-fund']);
}

/** Compile src, and what renders the sample stack, to dist. */
export function build() {
  run('Building (npm run build)', ['run', 'build']);
}

/** True in a script of npm that this setup has called. */
export function isWithinSetUp() {
  return process.env[withinSetUp] !== undefined;
}

/** True when node_modules holds every package of package-lock.json at its version. */
export function isInstalled() {
  // npm writes this list at the very end of an installation: an interrupted one has none.
  const record = join(root, 'node_modules/.package-lock.json');
  if (!existsSync(record)) return false;
  const installed = readPackages(record);
  const wanted = readPackages(join(root, 'package-lock.json'));
  return Object.entries(wanted).every(([path, { version, integrity, optional }]) => {
    if (path === '') return true;
    const found = installed[path];
    return found ? found.version === version && found.integrity === integrity : optional === true;
  });
}

function readPackages(lockFile) {
  try {
    return JSON.parse(readFileSync(lockFile, 'utf8')).packages ?? {};
  } catch (error) {
    return giveUp(`Cannot read ${lockFile}: ${error.message}`);
  }
}

/** True when dist is there and no source or compiler setting is younger. */
function isBuilt() {
  const built = [firstBuilt, lastBuilt].map((file) => join(root, file));
  if (!built.every((file) => existsSync(file))) return false;
  const sources = ['src', 'samples', 'tsconfig.json'].map((path) => newestMs(join(root, path)));
  const youngest = Math.max(...sources);
  return statSync(built[1]).mtimeMs >= youngest;
}

/** Time of the last change below a folder, ms: of its files, and of folders for files that were removed. */
function newestMs(path) {
  const own = statSync(path).mtimeMs;
  if (!statSync(path).isDirectory()) return own;
  return Math.max(own, ...readdirSync(path).map((name) => newestMs(join(path, name))));
}

function run(what, npmArgs) {
  process.stderr.write(`${what} ...\n`);
  const environment = { ...process.env };
  for (const name of callersSettings) delete environment[`npm_config_${name}`];
  const { status, error } = spawnSync('npm', npmArgs, {
    cwd: root,
    stdio: ['ignore', 2, 2],
    env: { ...environment, [withinSetUp]: '1' },
    // Windows starts npm through a script, which needs a shell.
    shell: process.platform === 'win32',
  });
  if (error) giveUp(`Cannot start npm: ${error.message}`);
  if (status !== 0) giveUp(`${what} failed; the lines above say why.`);
}

function giveUp(message) {
  process.stderr.write(`${message}\n`);
  process.exit(1);
}

if (process.argv[1] === fileURLToPath(import.meta.url)) setUp();

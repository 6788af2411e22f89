import { spawnSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import * as library from '../../src/index.js';
import { frameSize, renderPlane } from '../merge/small-stack.js';

const root = fileURLToPath(new URL('../..', import.meta.url));

/** What npm says when no registry can be reached. */
const offline = /ENOTFOUND|EAI_AGAIN|ECONNREFUSED|ECONNRESET|ETIMEDOUT|ENETUNREACH|ENOTCACHED|network/;

let base: string;
let project: string;
/** Why the package could not be installed, where that is no fault of the package. */
let unreachable: string | undefined;

beforeAll(async () => {
  base = mkdtempSync(join(tmpdir(), 'lamella-packed-'));
  project = join(base, 'project');
  mkdirSync(project);
  // `npm test` has built; without scripts the result is packed as it is.
  const packed = npm(root, 'pack', '--ignore-scripts', '--pack-destination', base);
  expect(packed.status, packed.stderr).toBe(0);
  const tarball = readdirSync(base).find((name) => name.endsWith('.tgz'));
  writeFileSync(join(project, 'package.json'), '{ "name": "theirs", "private": true, "type": "module" }');
  const installed = npm(
    project,
    'install',
    '--prefer-offline',
    '--no-audit',
    '--no-fund',
    join(base, tarball!),
  );
  if (installed.status !== 0 && offline.test(installed.stderr)) unreachable = installed.stderr;
  else expect(installed.status, installed.stderr).toBe(0);
  const { files } = await renderPlane({ format: 'png' });
  mkdirSync(join(project, 'bee', 'head'), { recursive: true });
  for (const [name, file] of Object.entries(files)) writeFileSync(join(project, 'bee', 'head', name), file);
}, 300_000);

afterAll(() => rmSync(base, { recursive: true, force: true }));

describe('the packed program, installed in an empty folder', () => {
  it('can be imported, and merges', async (context) => {
    context.skip(unreachable !== undefined, unreachable);
    const script = `import { merge } from 'lamella';
      const { out, files } = await merge('bee/head', { format: 'png', crop: 'anchor', out: 'by-library' });
      console.log(JSON.stringify({ out, files }));`;
    writeFileSync(join(project, 'program.js'), script);
    const { status, stdout, stderr } = run(project, process.execPath, ['program.js']);
    expect(status, stderr).toBe(0);
    const { out, files } = JSON.parse(stdout) as { out: string; files: string[] };
    for (const name of files) expect(existsSync(join(out, name)), name).toBe(true);
    const { width, height } = await sharp(join(out, 'composite.png')).metadata();
    expect({ width, height }).toEqual(frameSize);
  });

  it('gives everything that the library gives', (context) => {
    context.skip(unreachable !== undefined, unreachable);
    const script = "console.log(JSON.stringify(Object.keys(await import('lamella')).sort()));";
    const { stdout } = run(project, process.execPath, ['--input-type=module', '-e', script]);
    expect(JSON.parse(stdout)).toEqual(Object.keys(library).sort());
  });

  it('is started by npx, and merges', (context) => {
    context.skip(unreachable !== undefined, unreachable);
    const { status, stderr } = run(project, 'npx', [
      '--no-install',
      'lamella',
      'merge',
      'bee/head',
      '--out',
      'by-npx',
    ]);
    expect(status, stderr).toBe(0);
    expect(existsSync(join(project, 'by-npx', 'report.html'))).toBe(true);
  });

  it('renders the sample stack of the desk', async (context) => {
    context.skip(unreachable !== undefined, unreachable);
    const script = `import { standardSample, renderSample, samplePlace } from './node_modules/lamella/dist/desk/sample.js';
      const sample = { ...standardSample, size: { width: 90, height: 60 } };
      const before = samplePlace(sample);
      const ended = await renderSample(sample).begin(() => {}).ended;
      console.log(JSON.stringify({ before, ended, after: samplePlace(sample) }));`;
    const home = join(base, 'home');
    const { stdout, stderr } = run(project, process.execPath, ['--input-type=module', '-e', script], {
      ...{ HOME: home, XDG_CONFIG_HOME: join(home, 'settings'), APPDATA: join(home, 'settings') },
    });
    expect(stderr).toBe('');
    const { before, ended, after } = JSON.parse(stdout);
    expect({ before, ended }).toEqual({ before: null, ended: { state: 'done' } });
    expect(after.startsWith(home), after).toBe(true);
    expect(readdirSync(after)).toHaveLength(24);
  });

  it.for([
    ['batch', 'bee', '--out', 'by-queue', '--queue', 'redis://127.0.0.1:9'],
    ['worker', '--queue', 'redis://127.0.0.1:9'],
  ])('names the packages that lamella %s needs for --queue, and writes nothing', (args, context) => {
    context.skip(unreachable !== undefined, unreachable);
    expect(existsSync(join(project, 'node_modules', 'bullmq'))).toBe(false);
    const { status, stderr } = run(project, 'npx', ['--no-install', 'lamella', ...args]);
    expect(stderr).toContain(
      'The queue needs the packages bullmq and ioredis, and bullmq is not installed. Install them where Lamella is installed: npm install bullmq@6 ioredis@5',
    );
    expect(stderr).not.toContain('    at ');
    expect(status).toBe(2);
    expect(existsSync(join(project, 'by-queue'))).toBe(false);
  });

  it('has types that a strict program can be checked against', (context) => {
    context.skip(unreachable !== undefined, unreachable);
    const program = `import { merge, type MergeOutcome, UsageError } from 'lamella';
      export const outcome: Promise<MergeOutcome> = merge('bee', { stepMm: 0.05 });
      // @ts-expect-error a step is a number
      void merge('bee', { stepMm: '0.05' });
      export const isUsage = (error: unknown): boolean => error instanceof UsageError && error.exitCode === 2;`;
    writeFileSync(join(project, 'typed.ts'), program);
    const { status, stdout } = run(project, process.execPath, [
      join(root, 'node_modules/typescript/bin/tsc'),
      '--noEmit',
      '--strict',
      ...['--module', 'nodenext', '--target', 'es2023', '--lib', 'es2023,dom'],
      ...['--typeRoots', join(root, 'node_modules/@types'), '--types', 'node'],
      'typed.ts',
    ]);
    expect(stdout).toBe('');
    expect(status).toBe(0);
  });
});

describe('the packed files', () => {
  it('hold the program, its guide and what renders the sample stack, and neither sources, tests nor pictures', () => {
    const { stdout, status, stderr } = npm(root, 'pack', '--ignore-scripts', '--dry-run', '--json');
    expect(status, stderr).toBe(0);
    const [{ files }] = JSON.parse(stdout) as { files: { path: string }[] }[];
    const paths = files.map(({ path }) => path);
    expect(paths).toContain('dist/index.d.ts');
    expect(paths).toContain('dist/kernels/lamella.wasm');
    expect(paths).toContain('dist/rendering/samples/render.js');
    expect(paths).toContain('bin/lamella.js');
    const strangers = paths.filter(
      (path) => !/^(dist\/|src\/guide\/|bin\/lamella\.js$|README\.md$|package\.json$)/.test(path),
    );
    expect(strangers).toEqual([]);
  });
});

describe('npm install -g . in a clone', () => {
  it('gives the command lamella', () => {
    // Without scripts, which would build the clone that other tests are using.
    const { status, stderr } = npm(
      root,
      'install',
      '-g',
      '--prefix',
      join(base, 'global'),
      '--ignore-scripts',
      '.',
    );
    expect(status, stderr).toBe(0);
    const command = join(base, 'global', 'bin', 'lamella');
    const { stdout } = run(base, command, ['--version']);
    const { version } = JSON.parse(readFileSync(join(root, 'package.json'), 'utf8')) as { version: string };
    expect(stdout).toBe(`${version}\n`);
  });
});

function npm(cwd: string, ...args: string[]) {
  return run(cwd, 'npm', args);
}

/** Runs a program without the settings that the npm that started the tests has put into the environment. */
function run(cwd: string, program: string, args: string[], settings: Record<string, string> = {}) {
  const env = Object.fromEntries(
    Object.entries({ ...process.env, ...settings }).filter(
      ([name]) => !/^npm_(config_(local_)?prefix|package_|lifecycle_)/.test(name),
    ),
  );
  return spawnSync(program, args, { cwd, env, encoding: 'utf8', shell: process.platform === 'win32' });
}

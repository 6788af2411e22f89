// A first look: makes the clone ready, renders the sample stack, merges it, and says where the pictures are.
import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, renameSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { setUp } from './setup.js';

const root = fileURLToPath(new URL('..', import.meta.url));
const sample = '.cache/sample';
const frames = `${sample}/frames`;
const result = 'sample-merged';

setUp();
if (!existsSync(join(root, frames))) {
  say('Rendering the sample stack: a seed head with fine hairs, before a far background ...');
  // Under another name until it is whole: an interrupted rendering must not pass for the stack.
  const unfinished = `${sample}.unfinished`;
  for (const folder of [unfinished, sample]) rmSync(join(root, folder), { recursive: true, force: true });
  node('dist/rendering/samples/render.js', 'seed-head', unfinished);
  renameSync(join(root, unfinished), join(root, sample));
}
say('Merging the sample stack ...');
const { stepMm, fieldWidthMm } = JSON.parse(readFileSync(join(root, sample, 'truth/scene.json'), 'utf8'));
const scale = ['--step', String(stepMm), '--field-width', String(fieldWidthMm)];
node('bin/lamella.js', 'merge', frames, '--out', result, '--format', 'png', '--overwrite', ...scale);
say(`
The pictures are in ${join(root, result)}:
  composite.png  the picture, sharp throughout
  depth.png      how deep each point lies, as grey
  report.html    everything on one page: open it in a browser
The frames they were made from are in ${join(root, frames)}.
To merge a stack of your own: node bin/lamella.js merge FOLDER
Shorter, after "npm install -g ." once in this folder: lamella merge FOLDER`);

function node(...args) {
  // The path of the result, which the merge prints for programs, is said in words below.
  const { status, signal } = spawnSync(process.execPath, args, {
    cwd: root,
    stdio: ['inherit', 'ignore', 'inherit'],
  });
  if (status !== 0) process.exit(status ?? (signal ? 130 : 1));
}

function say(text) {
  process.stdout.write(`${text}\n`);
}

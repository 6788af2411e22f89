import { Command, CommanderError, InvalidArgumentError, Option } from 'commander';
import { exitCodes, LamellaError, UsageError } from '../src/errors.js';
import { readPhoto } from './read-photo.js';
import {
  commonDefaults,
  type RenderOptions,
  renderScene,
  type SceneName,
  sceneDefaults,
} from './render-scene.js';

/** Options that are numbers: flag, what it is, its unit; the default is that of `renderScene`. */
const numbers: readonly [keyof RenderOptions & keyof typeof commonDefaults, string, string][] = [
  ['seed', '--seed <n>', 'seed of everything drawn at random'],
  ['magnification', '--magnification <m>', 'magnification at the plane of focus'],
  ['fNumber', '--f-number <n>', 'nominal f-number of the lens'],
  ['focalLengthMm', '--focal-length <mm>', 'focal length, mm'],
  ['pixelPitchUm', '--pixel-pitch <um>', 'pixel pitch, micrometres'],
  ['stepPart', '--step-part <part>', 'step as a part of the depth of field (circle of confusion 2 px)'],
  ['shiftPx', '--shift-jitter <px>', 'shift of each frame, up to so many px each way'],
  ['rollDeg', '--roll-jitter <deg>', 'turn of each frame, up to so many degrees'],
  ['flickerPercent', '--flicker <percent>', 'change of light from frame to frame, up to so many per cent'],
  ['irregularPercent', '--irregular <percent>', 'error of each travel, up to so many per cent of the step'],
  [
    'breathingPercent',
    '--breathing <percent>',
    'growth of the picture from the nearest to the farthest plane, per cent',
  ],
  ['blurredFrames', '--blurred-frames <n>', 'number of frames smeared by a shake'],
  ['smearPx', '--smear <px>', 'length of their smear, px'],
  ['lensBlurPx', '--lens-blur <px>', 'blur of the lens in focus, standard deviation, px'],
  ['noise', '--noise <level>', 'noise of a frame at mid grey, standard deviation in 255ths'],
  ['dust', '--dust <n>', 'dust specks on the sensor'],
  ['hotPixels', '--hot-pixels <n>', 'hot pixels of the sensor'],
  ['bits', '--bits <bits>', '8 or 16 bits a sample'],
  ['quality', '--quality <q>', 'JPEG quality, 1 to 100'],
];

function toNumber(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value)) throw new InvalidArgumentError('Expected a number.');
  return value;
}

const program = new Command('render')
  .description('Render a focus stack with known depth into OUTDIR/frames and OUTDIR/truth')
  .argument('<scene>', Object.keys(sceneDefaults).join(', '))
  .argument('<outdir>', 'folder for frames and truth')
  .option('--width <px>', "width of the frames (default: the scene's own)", toNumber)
  .option('--height <px>', "height of the frames (default: the scene's own)", toNumber)
  .option('--frames <n>', "number of frames (default: the scene's own)", toNumber);
for (const [name, flags, text] of numbers) {
  program.addOption(new Option(flags, `${text} (default: ${commonDefaults[name]})`).argParser(toNumber));
}
program
  .addOption(
    new Option('--order <order>', 'which end comes first')
      .choices(['near-to-far', 'far-to-near'])
      .default(commonDefaults.order),
  )
  .addOption(
    new Option('--camera <camera>', 'on a rail, or standing still while its lens is focused')
      .choices(['rail', 'still'])
      .default(commonDefaults.camera),
  )
  .addOption(
    new Option('--format <format>', 'file type of the frames')
      .choices(['jpg', 'png', 'tif'])
      .default(commonDefaults.format),
  )
  .option('--photo <file>', 'photograph of the scene photo')
  .option('--disparity <file>', 'its disparity map: 8-bit grey, greater is nearer, 0 unknown')
  .option(
    '--depth-span <steps>',
    'steps that its depths are spread over (default: 0.96 of the stack)',
    toNumber,
  )
  .exitOverride()
  .action(run);

async function run(scene: SceneName, out: string): Promise<void> {
  const flags = program.opts<Record<string, number | string | undefined>>();
  const given: Partial<Record<keyof RenderOptions, unknown>> = {
    format: flags.format,
    order: flags.order,
    camera: flags.camera,
  };
  for (const name of ['width', 'height', 'frames'] as const)
    if (flags[name] !== undefined) given[name] = flags[name];
  for (const [name, flag] of numbers) {
    const value = flags[new Option(flag).attributeName()];
    if (value !== undefined) given[name] = value;
  }
  if (scene === 'photo') {
    if (flags.photo === undefined || flags.disparity === undefined) {
      throw new UsageError('Expected --photo and --disparity for the scene photo but received none');
    }
    const frames = (given.frames as number | undefined) ?? sceneDefaults.photo.frames;
    const span = (flags.depthSpan as number | undefined) ?? 0.96 * (frames - 1);
    given.photo = await readPhoto(String(flags.photo), String(flags.disparity), frames, span);
  }
  await renderScene({ ...(given as Partial<RenderOptions>), scene, out }, ({ done, frames }) => {
    process.stderr.write(`frame ${done} of ${frames}\n`);
  });
}

try {
  await program.parseAsync();
} catch (error) {
  if (error instanceof CommanderError) {
    process.exitCode = error.exitCode === 0 ? exitCodes.ok : exitCodes.usage;
  } else if (error instanceof LamellaError) {
    process.stderr.write(`${error.message}\n`);
    process.exitCode = error.exitCode;
  } else {
    throw error;
  }
}

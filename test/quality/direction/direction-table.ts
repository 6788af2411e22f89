import { mkdir, mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import type { RenderOptions, SceneName, SceneRecord } from '../../../samples/render-scene.js';
import { check } from '../../../src/check/check.js';
import { merge } from '../../../src/mend/merge.js';
import { readResult } from '../../../src/result/read-result.js';
import type { Direction } from '../../../src/stack/focus-direction.js';
import { reducedRecipes, type SceneRecipe, sceneFolder } from '../scenes.js';

/** How a stack is shot: by a rail, or by a lens before a camera that stands still. */
const cameras: Record<string, Partial<RenderOptions>> = {
  rail: {},
  'lens +6 %': { camera: 'still', breathingPercent: 6 },
  'lens -6 %': { camera: 'still', breathingPercent: -6 },
  microscope: { camera: 'still', noise: 3 },
};

/** A lens whose picture grows as little, against its blur, as before a rail at large magnification. */
const mildLenses: typeof cameras = {
  'lens +1 %': { camera: 'still', breathingPercent: 1 },
  'lens -1 %': { camera: 'still', breathingPercent: -1 },
};

/** Scenes by every camera. On the kinds for tuning thresholds were set, from frames of another size; the others judge. */
const scenes: readonly { scene: Exclude<SceneName, 'photo'>; seed: number; use: 'tuning' | 'judging' }[] = [
  { scene: 'insect-head', seed: 1, use: 'tuning' },
  { scene: 'seed-head', seed: 1, use: 'tuning' },
  { scene: 'insect-head', seed: 11, use: 'judging' },
  { scene: 'leaves', seed: 1, use: 'judging' },
  { scene: 'leaves', seed: 2, use: 'judging' },
  { scene: 'leaves', seed: 3, use: 'judging' },
  { scene: 'tilted-plane', seed: 1, use: 'judging' },
];

const size = { width: 480, height: 360, frames: 16 };

/** Pictures so small hold few depth edges. */
const smallSize = { width: 320, height: 240, frames: 12 };
const smallScenes: typeof scenes = (['insect-head', 'leaves', 'seed-head'] as const).flatMap((scene) =>
  [32, 33].map((seed) => ({ scene, seed, use: 'judging' as const })),
);

export interface DirectionRow {
  scene: string;
  use: 'tuning' | 'judging';
  camera: string;
  /** What the order of the frames is, and what a merge should say: unknown where nothing can show it. */
  order: Direction;
  expected: Direction;
  merged: Direction;
  by: string;
  checked: Direction;
  z: number;
}

/** A row is right, not decided, or wrong: told the reverse, or told where nothing can show it. */
export function verdictOf({ expected, merged }: DirectionRow): 'right' | 'open' | 'wrong' {
  if (merged === expected) return 'right';
  return merged === 'unknown' ? 'open' : 'wrong';
}

interface Case {
  scene: string;
  use: 'tuning' | 'judging';
  camera: string;
  recipe: SceneRecipe;
  /** Whether the travel of the rail is given. */
  hasStep?: boolean;
  canBeKnown: boolean;
}

const isPlane = (scene: SceneName | undefined) => scene === 'tilted-plane';

/** Every scene by every camera, small scenes by one each, and the reduced scenes of the other tables by rail, those of the ray tracer among them. */
function allCases(): Case[] {
  const own = scenes.flatMap(({ scene, seed, use }) =>
    Object.entries({ ...cameras, ...(isPlane(scene) && mildLenses) }).map(([camera, options]): Case => {
      const name = `direction-${scene}-${seed}-${camera.replaceAll(/[^a-z0-9+-]+/g, '')}`;
      return {
        scene: `${scene} ${seed}`,
        use,
        camera,
        recipe: { name, use, options: { scene, ...size, seed, format: 'png', ...options } },
        // A plane hides nothing, and a lens may breathe by as much as a rail's picture grows.
        canBeKnown: !isPlane(scene),
      };
    }),
  );
  const small = smallScenes.map(({ scene, seed, use }, k): Case => {
    const camera = Object.keys(cameras)[k % Object.keys(cameras).length];
    const name = `direction-small-${scene}-${seed}`;
    const options = { scene, ...smallSize, seed, format: 'png' as const, ...cameras[camera] };
    return {
      scene: `small ${scene} ${seed}`,
      use,
      camera,
      recipe: { name, use, options },
      canBeKnown: true,
    };
  });
  const others = reducedRecipes.map((recipe): Case => {
    const canBeKnown = !('options' in recipe && isPlane(recipe.options.scene));
    return { scene: recipe.name, use: recipe.use, camera: 'rail', recipe, canBeKnown };
  });
  return [...own, ...small, ...others].flatMap((known) =>
    known.camera === 'rail' && !known.canBeKnown
      ? [known, { ...known, camera: 'rail, step', hasStep: true, canBeKnown: true }]
      : [known],
  );
}

/** Cases whose names begin with one of these words, such as "leaves", "leaves 1" or "leaves 1 rail"; all without any. */
function namedCases(names?: readonly string[]): Case[] {
  return allCases().filter(
    (known) => names?.some((name) => `${nameOf(known)} `.startsWith(`${name} `)) ?? true,
  );
}

function nameOf({ scene, camera }: Case): string {
  return `${scene} ${camera}`;
}

/** Names of the cases, by scene, seed and camera, that are meant by these. */
export function directionCases(names?: readonly string[]): string[] {
  return namedCases(names).map(nameOf);
}

/**
 * Renders, merges and checks cases, from near to far and in reverse.
 *
 * @param names As of `directionCases`.
 */
export async function measureDirections(
  report: (text: string) => void,
  names?: readonly string[],
): Promise<DirectionRow[]> {
  const rows: DirectionRow[] = [];
  const cases = namedCases(names);
  for (const { scene, use, camera, recipe, hasStep, canBeKnown } of cases) {
    const folder = await sceneFolder(recipe);
    if ('skipped' in folder) {
      report(folder.skipped);
      continue;
    }
    for (const order of ['near-to-far', 'far-to-near'] as const) {
      const found = await judgeStack(folder.dir, order, hasStep);
      const expected = canBeKnown ? order : 'unknown';
      const row: DirectionRow = { scene, use, camera, order, expected, ...found };
      rows.push(row);
      report(formatRow(row));
    }
  }
  return rows;
}

/** Merges and checks frames that were rendered from near to far, in that order or in reverse. */
async function judgeStack(
  sceneDir: string,
  order: Direction,
  hasStep = false,
): Promise<Pick<DirectionRow, 'merged' | 'by' | 'checked' | 'z'>> {
  const dir = await mkdtemp(join(tmpdir(), 'lamella-direction-'));
  try {
    const frames = join(dir, 'frames');
    await mkdir(frames);
    const framesDir = join(sceneDir, 'frames');
    const { stepMm }: SceneRecord = JSON.parse(await readFile(join(sceneDir, 'truth', 'scene.json'), 'utf8'));
    const options = hasStep ? { stepMm } : {};
    const names = (await readdir(framesDir)).sort();
    if (order === 'far-to-near') names.reverse();
    // Pixels alone: a time of capture would put them back in order.
    for (const [k, name] of names.entries()) {
      const path = join(frames, `${String(k + 1).padStart(4, '0')}.png`);
      await sharp(join(framesDir, name)).png({ compressionLevel: 1 }).toFile(path);
    }
    const { direction: checked } = await check(frames, options);
    const { out } = await merge(frames, { out: join(dir, 'merged'), ...options });
    const { record } = await readResult(out);
    const { direction: merged, directionBy: by = '', directionEvidence: shown } = record;
    return { merged, by, checked, z: shown?.pictures?.z ?? 0 };
  } finally {
    await rm(dir, { recursive: true, force: true });
  }
}

export const directionLegend =
  'Which end is near: what a merge says of each scene by each camera, in both orders. z: evidence of the pictures, standard errors. tuning: thresholds were set on this kind of scene; judging: they were not. Expected is unknown for a plane, which hides nothing, unless the travel of a rail is given ("rail, step").';

function formatRow(row: DirectionRow): string {
  const { scene, use, camera, order, merged, by, checked, z } = row;
  return [
    scene.padEnd(22),
    use.padEnd(7),
    camera.padEnd(11),
    order.padEnd(12),
    merged.padEnd(12),
    by.padEnd(9),
    z.toFixed(1).padStart(6),
    ` check: ${checked.padEnd(12)}`,
    verdictOf(row),
  ].join(' ');
}

export function formatDirections(rows: readonly DirectionRow[]): string {
  const header = [
    'scene'.padEnd(22),
    'use'.padEnd(7),
    'camera'.padEnd(11),
    'order'.padEnd(12),
    'merge says'.padEnd(12),
    'by'.padEnd(9),
    'z'.padStart(6),
  ].join(' ');
  return [header, ...rows.map(formatRow), '', summarise(rows)].join('\n');
}

function summarise(rows: readonly DirectionRow[]): string {
  const count = (verdict: string) => rows.filter((row) => verdictOf(row) === verdict).length;
  const known = knowable(rows);
  const right = known.filter((row) => verdictOf(row) === 'right').length;
  const percent = known.length === 0 ? '-' : ((100 * right) / known.length).toFixed(1);
  return `${rows.length} stacks: ${count('right')} right, ${count('open')} left open, ${count('wrong')} wrong; of ${known.length} whose order can be known ${right} right, ${percent} %`;
}

function knowable(rows: readonly DirectionRow[]): DirectionRow[] {
  return rows.filter(({ expected }) => expected !== 'unknown');
}

/** Least part of the stacks whose order can be known that must be told right; none may be told wrong. */
const minRightShare = 0.95;

export function directionShortfalls(rows: readonly DirectionRow[]): string[] {
  const wrong = rows.filter((row) => verdictOf(row) === 'wrong');
  const known = knowable(rows);
  const right = known.filter((row) => verdictOf(row) === 'right').length;
  return [
    ...wrong.map(({ scene, camera, order }) => `told wrong: ${scene}, ${camera}, ${order}`),
    ...(right < minRightShare * known.length
      ? [
          `${right} of ${known.length} stacks whose order can be known are told right, fewer than ${100 * minRightShare} %`,
        ]
      : []),
  ];
}

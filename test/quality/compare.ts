import { parseArgs } from 'node:util';
import { alignedFrames } from './baselines/aligned.js';
import { measure } from './measure.js';
import { edgeField, FusionQuality } from './metrics/fusion-quality.js';
import { lumaOf } from './raster.js';
import { type Result, readResult } from './result.js';
import { readScene } from './scene.js';
import { formatTable } from './table.js';

const usage = `Usage: compare.ts SCENE_DIR RESULT_DIR... [--fusion]
Prints how far each result folder is from the truth of a scene that samples/render.ts rendered.
  --fusion   print Q_AB/F of each result over all frames, aligned by the true motion, too (about 1 s a frame)`;

const { values: flags, positionals } = parseArgs({
  allowPositionals: true,
  options: { fusion: { type: 'boolean', default: false } },
});
const [sceneDir, ...resultDirs] = positionals;
if (sceneDir === undefined || resultDirs.length === 0) {
  console.error(usage);
  process.exit(2);
}
const scene = await readScene(sceneDir);
const results: Result[] = [];
for (const dir of resultDirs) results.push(await readResult(dir, scene));
console.log(
  formatTable(results.map((result, i) => ({ name: resultDirs[i], figures: measure(scene, result) }))),
);
if (flags.fusion) {
  for (const [i, value] of (await fusionQualities(results)).entries()) {
    console.log(`Q_AB/F ${value.toFixed(4)}  ${resultDirs[i]}`);
  }
}

async function fusionQualities(of: readonly Result[]): Promise<number[]> {
  const { width, height, transforms } = scene.record;
  const qualities = of.map(
    ({ composite }) => new FusionQuality(lumaOf(composite), scene.judged, width, height),
  );
  for await (const { grey } of alignedFrames(scene, transforms)) {
    const source = edgeField(grey.data, width, height);
    for (const quality of qualities) quality.addSource(source);
  }
  return qualities.map((quality) => quality.value());
}

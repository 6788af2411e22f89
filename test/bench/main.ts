import { availableParallelism, loadavg } from 'node:os';
import { fileURLToPath } from 'node:url';
import { benchAgainstPeer } from './against-peer.js';
import { benchDevice } from './device.js';
import { type BenchOptions, readOptions, usage } from './options.js';
import { benchScaling } from './scaling.js';
import { benchSteps } from './single-steps.js';
import { benchSizes } from './sizes.js';

const cache = fileURLToPath(new URL('../../.cache/bench', import.meta.url));

const parts = {
  device: benchDevice,
  peer: benchAgainstPeer,
  scaling: benchScaling,
  size: benchSizes,
  steps: benchSteps,
};

let options: BenchOptions | undefined;
try {
  options = readOptions();
} catch (error) {
  console.error(`${error instanceof Error ? error.message : error}\n${usage}`);
  process.exit(2);
}
if (!options) {
  console.log(usage);
  process.exit(0);
}
const machine = `${availableParallelism()} cores, load ${loadavg()[0].toFixed(1)} before the start, Node ${process.version}`;
console.log(`${options.size.width} x ${options.size.height} pixels a frame, ${machine}\n`);
await parts[options.part](cache, options);

import { spawn } from 'node:child_process';
import { mkdir, readFile, rm } from 'node:fs/promises';
import { loadavg } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { coverageClasses } from '../../src/result/coverage.js';
import { writeComposite } from '../../src/result/write-composite.js';
import { writeMaps } from '../../src/result/write-maps.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { hashFile } from '../../src/stack/hash-file.js';
import { sampleFrame, sampleRecord } from '../result/sample-record.js';
import { findBrowser, launchBrowser } from '../view/browser.js';

// How long a 100-megapixel result takes from the page's loading to its first tiles and to the picture in full, how long
// crops, blend and saving of a mend of 1 megapixel take, and what memory the server holds. Times are worth something
// only where little else runs: the load average is printed. Build first: the server is that of dist.
// Usage: npm run bench:view [-- tif|png|jpg]

const size = { width: 11_600, height: 8700 };
const frames = 3;
const kinds = ['tif', 'png', 'jpg'] as const;
const kind = kinds.find((name) => name === (process.argv[2] ?? 'tif'));
const lamella = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));
const place = fileURLToPath(new URL(`../../.cache/bench/view-${kind}`, import.meta.url));
const folder = join(place, 'result');
const framesFolder = join(place, 'frames');

if (!kind) {
  console.error(`Expected ${kinds.join(', ')} but received ${process.argv[2]}`);
  process.exit(2);
}
const browserPath = findBrowser();
if (browserPath === undefined) {
  console.error('No Chromium is installed: there is nothing to open the page with.');
  process.exit(3);
}
const isMade = await readFile(join(folder, 'run.json')).then(
  () => true,
  () => false,
);
if (!isMade) await makeResult();

const loadBefore = loadText();
const server = spawn(process.execPath, [lamella, 'view', folder], { stdio: ['ignore', 'pipe', 'inherit'] });
const startedMs = performance.now();
const address = await new Promise<string>((resolve) => {
  server.stdout.once('data', (text) => resolve(String(text).trim()));
});
const readyMs = performance.now() - startedMs;
const browser = await launchBrowser(browserPath);
try {
  const page = await browser.newPage({ viewport: { width: 1600, height: 1000 } });
  let firstTileMs = Number.NaN;
  let lastTileMs = Number.NaN;
  let tiles = 0;
  let loadMs = Number.NaN;
  page.on('load', () => {
    loadMs = performance.now();
  });
  page.on('requestfinished', (request) => {
    if (!request.url().includes('/tile/composite/')) return;
    if (tiles++ === 0) firstTileMs = performance.now();
    lastTileMs = performance.now();
  });
  await page.goto(address);
  await page.waitForSelector('#progress:not(:empty)');
  const openMiB = await peakMiB(server.pid);
  await page.waitForSelector('#progress:empty', { state: 'attached', timeout: 600_000 });
  const viewedMiB = await peakMiB(server.pid);
  const mending = await mendOneMegapixel();
  console.log(
    `${(size.width * size.height) / 1e6} megapixels, ${kind}, ${frames} frames, Node ${process.version}, load ${loadBefore} before and ${loadText()} after\n` +
      `server ready after            ${(readyMs / 1000).toFixed(2)} s\n` +
      `first tile after page load    ${((firstTileMs - loadMs) / 1000).toFixed(2)} s\n` +
      `all ${String(tiles).padEnd(3)} tiles after           ${((lastTileMs - loadMs) / 1000).toFixed(2)} s\n` +
      `peak memory, picture shown    ${openMiB.toFixed(0)} MiB\n` +
      `peak memory, maps and curves  ${viewedMiB.toFixed(0)} MiB\n` +
      `crops of the ${frames} best frames     ${seconds(mending.cropsMs)}\n` +
      `blended and seen              ${seconds(mending.blendMs)}\n` +
      `another frame instead         ${seconds(mending.otherMs)}\n` +
      `saved                         ${seconds(mending.saveMs)}\n` +
      `peak memory, after saving     ${(await peakMiB(server.pid)).toFixed(0)} MiB`,
  );
} finally {
  await browser.close();
  server.kill('SIGINT');
}

function loadText(): string {
  return loadavg()[0].toFixed(1);
}

function seconds(ms: number): string {
  return `${(ms / 1000).toFixed(2)} s`;
}

/** What the page asks of the server for a mend in the middle of the picture, timed; the result is left unmended. */
async function mendOneMegapixel() {
  const region = { kind: 'rectangle', x: 5000, y: 4000, width: 1000, height: 1000 };
  const mendFrom = (frame: number) => [{ id: 1, frame, region, featherPx: 40, note: '', kept: true }];
  const post = async (path: string, lists: object) => {
    const headers = { 'Content-Type': 'application/json', Origin: new URL(address).origin };
    const answer = await fetch(address + path, { method: 'POST', headers, body: JSON.stringify(lists) });
    if (!answer.ok) throw new Error(await answer.text());
    return answer.json();
  };
  const timed = async (work: () => Promise<unknown>) => {
    const startMs = performance.now();
    await work();
    return performance.now() - startMs;
  };
  const blendFrom = async (frame: number) => {
    const { key } = await post('api/preview', { mends: mendFrom(frame) });
    await (await fetch(`${address}tile/composite/0/10/8?mends=${key}`)).blob();
  };
  const cropsMs = await timed(async () => {
    const { frames, crop } = await post('api/candidates', { mends: mendFrom(1) });
    const where = `x=${crop.x}&y=${crop.y}&width=${crop.width}&height=${crop.height}`;
    const answers = frames.map(({ number }: { number: number }) =>
      fetch(`${address}crop?frame=${number}&${where}`),
    );
    await Promise.all(answers.map(async (answer: Promise<Response>) => (await answer).blob()));
  });
  const blendMs = await timed(() => blendFrom(2));
  const otherMs = await timed(() => blendFrom(1));
  const saveMs = await timed(() => post('api/save', { mends: mendFrom(2), base: [] }));
  await post('api/save', { mends: [], base: mendFrom(2) });
  return { cropsMs, blendMs, otherMs, saveMs };
}

/** High-water mark of a process's resident set (proc(5), VmHWM); NaN where there is no such file. */
async function peakMiB(pid: number | undefined): Promise<number> {
  const status = await readFile(`/proc/${pid}/status`, 'utf8').catch(() => '');
  return Number(/^VmHWM:\s+(\d+) kB$/m.exec(status)?.[1]) / 1024;
}

/** A made-up result of three frames: waves and grain, so that nothing compresses to nothing. */
async function makeResult(): Promise<void> {
  await rm(place, { recursive: true, force: true });
  await mkdir(folder, { recursive: true });
  await mkdir(framesFolder);
  const { width, height } = size;
  const count = width * height;
  const isDeep = kind !== 'jpg';
  const pixels = isDeep ? new Uint16Array(count * 3) : new Uint8Array(count * 3);
  const scale = isDeep ? 257 : 1;
  let state = 1;
  for (let y = 0, i = 0; y < height; y++) {
    const wave = 60 * Math.sin(y / 90);
    for (let x = 0; x < width; x++, i += 3) {
      state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
      const value = 110 + wave + 40 * Math.sin(x / 70) + (state >>> 28);
      pixels[i] = value * scale;
      pixels[i + 1] = (value - 20) * scale;
      pixels[i + 2] = (230 - value) * scale;
    }
  }
  const software = 'Lamella bench';
  const { notes: _, ...composite } = await writeComposite(
    folder,
    { pixels, ...size, channels: 3 },
    { format: kind!, software },
  );
  const names: string[] = [];
  for (let number = 1; number <= frames; number++) {
    names.push(`${number}.jpg`);
    await sharp(pixels, { raw: { ...size, channels: 3 }, limitInputPixels: false })
      .toColourspace('srgb')
      .blur(number === 2 ? 0.3 : 3)
      .jpeg({ quality: 92 })
      .toFile(join(framesFolder, `${number}.jpg`));
  }
  const maps = {
    ...size,
    depth: Float32Array.from({ length: count }, (_, i) => Math.sin((i % width) / 500) + i / count),
    sources: Uint16Array.from({ length: count }, (_, i) => 1 + (((i % width) >> 8) % frames)),
    confidence: Uint8Array.from({ length: count }, (_, i) => i >> 10),
    coverage: Uint8Array.from({ length: count }, (_, i) => ((i % width) >> 9) % coverageClasses.length),
  };
  const mapsRecord = await writeMaps(folder, maps, { unit: 'mm', software });
  const record = sampleRecord({
    size,
    frameSize: size,
    folder: framesFolder,
    composite,
    maps: mapsRecord,
    crop: { x: 0, y: 0, ...size },
    frames: await Promise.all(
      names.map(async (name, i) =>
        sampleFrame(i + 1, { name, path: name, sha256: await hashFile(join(framesFolder, name)) }),
      ),
    ),
  });
  await writeRunRecord(folder, record);
}

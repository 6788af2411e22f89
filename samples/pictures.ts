/// <reference lib="dom" />
/**
 * Takes the pictures of README.md anew: renders the sample stack where it is missing, merges it by the command that the
 * README gives, and photographs composite, report and page. Needs a browser of the Chromium family.
 */
import { spawnSync } from 'node:child_process';
import { cpSync, existsSync, renameSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import type { Browser, Page } from 'playwright-core';
import sharp from 'sharp';
import { serveResult } from '../src/index.js';
import { findBrowser, launchBrowser } from '../test/view/browser.js';

const root = fileURLToPath(new URL('..', import.meta.url));
const sample = join(root, '.cache/sample');
const work = join(root, '.cache/pictures');
const result = join(work, 'seed-head-merged');

/** The spot that is pointed at in the page, as parts of the canvas: where hairs cross before the head. */
const spot = { x: 0.55, y: 0.45 };

const executable = findBrowser();
if (!executable) throw new Error('No browser of the Chromium family was found: name one in CHROMIUM.');
renderStack();
mergeStack();
const browser = await launchBrowser(executable);
try {
  await takeComposite();
  await takeReport(browser);
  await takePage(browser);
} finally {
  await browser.close();
}

function renderStack(): void {
  if (existsSync(sample)) return;
  // Under another name until it is whole.
  const unfinished = `${sample}.unfinished`;
  rmSync(unfinished, { recursive: true, force: true });
  run(root, '--import', 'tsx', 'samples/render.ts', 'seed-head', unfinished);
  renameSync(unfinished, sample);
}

function mergeStack(): void {
  rmSync(join(work, 'seed-head'), { recursive: true, force: true });
  cpSync(join(sample, 'frames'), join(work, 'seed-head'), { recursive: true });
  const options = ['--step', '0.035', '--field-width', '2.56', '--format', 'png', '--overwrite'];
  run(work, join(root, 'bin/lamella.js'), 'merge', 'seed-head', ...options);
}

async function takeComposite(): Promise<void> {
  const picture = sharp(join(result, 'composite.png')).resize({ width: 900 });
  await picture.jpeg({ quality: 88 }).toFile(join(root, 'samples/result.jpg'));
}

/** The report down to its first maps, at two thirds of its size. */
async function takeReport(browser: Browser): Promise<void> {
  const page = await openPage(browser, { width: 1100, height: 1620 });
  await page.goto(pathToFileURL(join(result, 'report.html')).href, { waitUntil: 'networkidle' });
  const shot = await page.screenshot();
  await sharp(shot).resize({ width: 733 }).jpeg({ quality: 88 }).toFile(join(root, 'samples/report.jpg'));
}

async function takePage(browser: Browser): Promise<void> {
  const served = await serveResult(result);
  try {
    const page = await openPage(browser, { width: 1280, height: 800 });
    await page.goto(served.address, { waitUntil: 'networkidle' });
    const box = await page.locator('#canvas').boundingBox();
    if (!box) throw new Error('The page shows no picture.');
    // The curve of a spot is asked for when the pointer comes: not before the focus of all frames is measured.
    await page.waitForFunction(() => document.querySelector('#progress')?.textContent === '');
    await page.mouse.move(box.x + spot.x * box.width, box.y + spot.y * box.height, { steps: 4 });
    await page.waitForFunction(
      () => (document.querySelector('#ruler .curve')?.getAttribute('d')?.length ?? 0) > 30,
    );
    await page.screenshot({ path: join(root, 'samples/page.jpg'), type: 'jpeg', quality: 85 });
  } finally {
    await served.close();
  }
}

function openPage(browser: Browser, viewport: { width: number; height: number }): Promise<Page> {
  return browser.newPage({ viewport, colorScheme: 'light' });
}

function run(folder: string, ...args: string[]): void {
  const { status } = spawnSync(process.execPath, args, {
    cwd: folder,
    stdio: ['inherit', 'ignore', 'inherit'],
  });
  if (status !== 0) process.exit(status ?? 1);
}

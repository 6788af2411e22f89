import type { Size } from '../image/image.js';
import { findPieces, linkCells } from './surface-raster.js';

/** Levels of 8 bits by which ground may differ from the ground beside it: noise and its own soft shades. */
const maxDifference = 14;
/** Weight of a cell in the colour that is handed on: shades are followed, edges are not. */
const follow = 0.05;
/** Levels by which ground may come to differ from the ground without detail that it was reached from. */
const maxDrift = 24;
/** The same on the far side of a hair. */
const maxDifferenceBeyond = 8;
/** Pixels of the composite that ground reaches behind a hair. */
const hairPx = 8;
/** Share of the picture that a piece without detail takes at least to be ground: smaller ones are smooth parts of a subject. */
const minPieceShare = 0.02;
/** Share of the surface that must remain: where picture and ground look alike, colour says nothing. */
const minRemainingShare = 0.05;

/**
 * Takes out the ground around fine things. Beside a hair before a ground without detail the focus of the hair's blur is
 * all that there is to measure, so depth.tif holds the hair's depth far beyond its outline. Ground is what can be reached
 * from ground without crossing an edge in the composite, other than those of a hair; from large pieces without detail alone.
 *
 * @param depth (rows, cols); becomes NaN where ground is found.
 * @param noDetail (rows, cols): 1 where depth is NaN for want of detail, 0 where for another reason, as out of reach.
 * @param colours (rows, cols, 3), sRGB.
 * @param cellPx Pixels of the composite a side of a cell.
 * @returns Cells that were taken out.
 */
export function growGround(
  depth: Float32Array,
  noDetail: Uint8Array,
  colours: Uint8Array,
  { width, height }: Size,
  cellPx: number,
): number {
  const cells = width * height;
  const hairCells = Math.ceil(hairPx / cellPx);
  const isGround = new Uint8Array(cells);
  /** Cells that ground may still go on behind what is no ground. */
  const behind = new Int8Array(cells).fill(-1);
  const shade = new Float32Array(3 * cells);
  /** The cell without detail that ground was reached from. */
  const origin = new Int32Array(cells);
  let front: number[] = [];
  const isGuide = largePieces(noDetail, { width, height });
  for (let i = 0; i < cells; i++) {
    // Other pieces without detail are ground where it reaches them.
    if (!isGuide[i] || !isSmooth(i)) continue;
    isGround[i] = 1;
    behind[i] = hairCells;
    origin[i] = i;
    for (let k = 0; k < 3; k++) shade[3 * i + k] = colours[3 * i + k];
    front.push(i);
  }
  if (front.length === 0) return 0;
  const surface = depth.reduce((sum, value) => (Number.isNaN(value) ? sum : sum + 1), 0);
  const grown: number[] = [];
  // In rings, so that every cell takes the shade of the ground nearest to it.
  while (front.length > 0) {
    const next: number[] = [];
    for (const i of front) {
      const x = i % width;
      if (x > 0) reach(i, i - 1, next);
      if (x + 1 < width) reach(i, i + 1, next);
      if (i >= width) reach(i, i - width, next);
      if (i + width < cells) reach(i, i + width, next);
    }
    front = next;
  }
  if (surface - grown.length < minRemainingShare * surface) return 0;
  for (const i of grown) depth[i] = Number.NaN;
  return grown.length;

  /** Seams to what shows detail are no guide to what ground looks like. */
  function isSmooth(i: number): boolean {
    const besides = [(i + 1) % width === 0 ? i - 1 : i + 1, i + width < cells ? i + width : i - width];
    return besides.every((j) =>
      [0, 1, 2].every((k) => Math.abs(colours[3 * i + k] - colours[3 * j + k]) <= maxDifference),
    );
  }

  function reach(from: number, to: number, next: number[]): void {
    if (isGround[to]) return;
    let difference = 0;
    let drift = 0;
    for (let k = 0; k < 3; k++) {
      const colour = colours[3 * to + k];
      difference = Math.max(difference, Math.abs(colour - shade[3 * from + k]));
      drift = Math.max(drift, Math.abs(colour - colours[3 * origin[from] + k]));
    }
    const isAlike = difference <= (isGround[from] ? maxDifference : maxDifferenceBeyond);
    if (isAlike && drift <= maxDrift) {
      isGround[to] = 1;
      behind[to] = hairCells;
      for (let k = 0; k < 3; k++) {
        shade[3 * to + k] = (1 - follow) * shade[3 * from + k] + follow * colours[3 * to + k];
      }
      origin[to] = origin[from];
      if (!Number.isNaN(depth[to])) grown.push(to);
    } else {
      const left = behind[from] - 1;
      if (left <= behind[to] || left <= 0) return;
      behind[to] = left;
      origin[to] = origin[from];
      for (let k = 0; k < 3; k++) shade[3 * to + k] = shade[3 * from + k];
    }
    next.push(to);
  }
}

/** 1 in the pieces of what shows no detail that are as large as a ground. */
function largePieces(noDetail: Uint8Array, size: Size): Uint8Array {
  // Linked wherever both show none.
  const depth = Float32Array.from(noDetail, (value) => (value ? 0 : Number.NaN));
  const links = linkCells(depth, size, 0);
  const { labels, areas } = findPieces({ ...size, depth, confidence: noDetail, links });
  const least = minPieceShare * labels.length;
  return Uint8Array.from(labels, (label) => (label >= 0 && areas[label] >= least ? 1 : 0));
}

import { hashUnit } from '../noise.js';

/** A place in a pattern of regular hexagons. */
export interface Facet {
  /** Place in the hexagon, from its middle, in units of the distance from the middle to a side. */
  u: number;
  v: number;
  /** 0 in the middle of the hexagon, 1 on its sides. */
  edge: number;
  /** A number in [0, 1) of this hexagon's own. */
  random: number;
}

/** The hexagon at a place; `pitch` is the distance from one middle to the next. Two rows of middles are tried. */
export function facetAt(x: number, y: number, pitch: number): Facet {
  const rise = pitch * Math.sqrt(3);
  let best = Infinity;
  let facet: Facet = { u: 0, v: 0, edge: 0, random: 0 };
  for (const half of [0, 0.5]) {
    const column = Math.round(x / pitch - half);
    const row = Math.round(y / rise - half);
    const u = (x - (column + half) * pitch) / (pitch / 2);
    const v = (y - (row + half) * rise) / (pitch / 2);
    if (u * u + v * v >= best) continue;
    best = u * u + v * v;
    const edge = Math.max(
      Math.abs(u),
      Math.abs(u / 2 + (Math.sqrt(3) / 2) * v),
      Math.abs(u / 2 - (Math.sqrt(3) / 2) * v),
    );
    facet = { u, v, edge, random: hashUnit(2 * column + 2 * half, 2 * row + 2 * half, 9) };
  }
  return facet;
}

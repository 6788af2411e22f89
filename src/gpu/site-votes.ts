import type { SiteVote } from '../focus/focus-curves.js';
import { isAsked, siteGrid, voteOf } from '../focus/site-votes.js';
import type { Gpu } from './device.js';
import type { GpuPlanes, RowsOf } from './planes.js';

/** Rows of threads that take a place, or a row of places. */
const groupRows = 16;

interface Place {
  x: number;
  y: number;
}

/**
 * What places of a level show of which end is near: `siteVotes` of focus/site-votes.ts on the device. Throws GpuError.
 *
 * @param state Followed curves of each level, finest first.
 * @param noiseCodes Of the level.
 */
export async function readSiteVotes(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  level: number,
  noiseCodes: Float64Array,
  frames: number,
  apart: number,
): Promise<SiteVote[]> {
  if (!isAsked(frames, apart)) return [];
  const noise = gpu.takeTable(Float32Array.from(noiseCodes));
  const places = await findEdges(gpu, state, level, noise, apart);
  if (places.length === 0) {
    gpu.release(noise);
    return [];
  }
  const at = gpu.takeTable(Uint32Array.from(places, ({ x, y }) => x | (y << 16)));
  const votes = gpu.takeTable(12 * places.length);
  const { margin } = siteGrid(state[level]);
  const rowsOf =
    (shift: number): RowsOf =>
    (from, to) => {
      const [first, last] = [places[from / groupRows], places[to / groupRows - 1]];
      return [(first.y - margin) << shift, ((last.y + margin) << shift) + 1];
    };
  gpu.run(
    'siteVotes',
    { level, frames, apart },
    {
      state: { set: state[level], rows: rowsOf(0) },
      full: { set: state[0], rows: rowsOf(level) },
      ...{ noise, places: at, votes },
    },
    { width: groupRows, height: places.length * groupRows, rowsOfGroup: groupRows },
  );
  const counts = new Uint16Array(6 * places.length);
  await gpu.readTable(votes, new Uint8Array(counts.buffer));
  gpu.release(noise, at, votes);
  return places
    .map(({ x, y }, i) => {
      const [within, showing, otherWithin, otherShowing, clear, ofSides] = counts.subarray(6 * i, 6 * i + 6);
      const seen = {
        clear,
        ofSides,
        within: [within, otherWithin],
        showing: [showing, otherShowing],
      } as const;
      return { x, y, vote: voteOf(seen) };
    })
    .filter(({ vote }) => vote !== 0);
}

/** Places of the grid at which there may be a depth edge, row by row. */
async function findEdges(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  level: number,
  noise: GPUBuffer,
  apart: number,
): Promise<Place[]> {
  const { pitch, margin, columns, rows } = siteGrid(state[level]);
  if (columns === 0 || rows === 0) return [];
  const edges = gpu.takePlanes(columns, rows, 1, 4);
  const rowsOf =
    (shift: number): RowsOf =>
    (from, to) => {
      const [first, last] = [from / groupRows, to / groupRows - 1].map((row) => row * pitch);
      return [first << shift, ((last + 2 * margin) << shift) + 1];
    };
  gpu.run(
    'siteEdges',
    { level, apart, pitch },
    {
      state: { set: state[level], rows: rowsOf(0) },
      full: { set: state[0], rows: rowsOf(level) },
      edges: { set: edges, rows: (from, to) => [from / groupRows, to / groupRows] },
      noise,
    },
    { width: Math.ceil(columns / groupRows), height: rows * groupRows, rowsOfGroup: groupRows },
  );
  const found = new Uint32Array(columns * rows);
  await gpu.readPlane(edges, 0, new Uint8Array(found.buffer), 4 * columns);
  gpu.release(edges);
  const places: Place[] = [];
  for (const [i, isEdge] of found.entries()) {
    if (isEdge === 0) continue;
    places.push({ x: margin + (i % columns) * pitch, y: margin + Math.floor(i / columns) * pitch });
  }
  return places;
}

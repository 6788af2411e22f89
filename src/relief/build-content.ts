import { InputError, named } from '../errors.js';
import { throwIfStopped } from '../result/output-failure.js';
import { significantNumber } from '../result/report/numbers.js';
import type { RunRecord } from '../result/run-record.js';
import { closeSolid } from './close-solid.js';
import { compositeColours, compositeJpeg } from './composite-colours.js';
import { dropSlender } from './drop-slender.js';
import type { MeshContent } from './mesh-format.js';
import { cornerPixel, meshPoints, pointsBox, type SpaceMap, spaceMap } from './mesh-points.js';
import { cellGrid, edgeJump, type ReliefSurface, readSurface } from './read-surface.js';
import type { ReliefReport } from './relief.js';
import { closedMesh, cutMesh, type ReliefMesh } from './relief-mesh.js';
import type { ReliefFormat, ReliefOptions } from './relief-options.js';
import { withResultRasters } from './result-rasters.js';
import { type ResultScale, resultScale } from './scale.js';

/** A relief, and what is to be said of it. */
export interface ReliefContent extends MeshContent {
  facts: Omit<ReliefReport, 'out' | 'format' | 'unit' | 'vertices' | 'triangles'>;
}

/** Cells for each triangle that are looked at: more would not be kept. */
const cellsPerTriangle = 16;
/** Most cells, so that memory does not follow the picture: some 60 bytes each. */
const maxCells = 24e6;
/** Error below which no triangle is worth its place, steps. */
const finestSteps = 1e-3;
/** Longest side of a texture: what common graphics hardware takes. */
const maxTexturePx = 8192;
/** Thickness of a base, as a share of the longer side of the relief. */
const baseShare = 0.05;

/** Makes the mesh of a result for a format. */
export async function buildContent(
  folder: string,
  record: RunRecord,
  format: ReliefFormat,
  options: ReliefOptions,
  signal?: AbortSignal,
): Promise<ReliefContent> {
  const scale = resultScale(record, options);
  const space = spaceMap(record, scale);
  const { surface, mesh, notes } = await withResultRasters(folder, record, async (rasters) => {
    for (let cellPx = firstCellPx(record, options.triangles); ; cellPx++) {
      throwIfStopped(signal);
      const notes = [...scale.notes];
      const colours = await compositeColours(folder, record, cellGrid(record, cellPx));
      const surface = readSurface(rasters, record, scale, cellPx, colours, options.ground, folder);
      if (format === 'stl') notes.push(...leaveOutSlender(surface, scale, space));
      if (surface.depth.every(Number.isNaN)) throw nothingLeft(folder, format);
      const mesh = meshOf(surface, colours, format, scale, options);
      if (mesh) return { surface, mesh, notes };
      if (Math.min(surface.width, surface.height) < 8) throw tooFewTriangles(options.triangles);
    }
  });
  const picture = format === 'glb' ? await compositeJpeg(folder, record, maxTexturePx) : undefined;
  const points = meshPoints(mesh, surface.cellPx, record, space);
  const solid =
    format === 'stl' ? solidOf(mesh, points, surface, record, space) : { points, triangles: mesh.triangles };
  const error = Math.abs(space.perDepth);
  return {
    ...solid,
    unit: space.unit,
    perDepth: space.perDepth,
    colour: mesh.colour,
    confidence: mesh.confidence,
    texture: texturePoints(mesh, surface.cellPx, record),
    picture,
    facts: {
      size: pointsBox(solid.points).size as [number, number, number],
      maxError: mesh.error.max * error,
      rmsError: mesh.error.rms * error,
      cellPx: surface.cellPx,
      groundPercent: surface.groundPercent,
      speckPercent: surface.speckPercent,
      notes,
    },
  };
}

function firstCellPx({ size }: RunRecord, triangles: number): number {
  const pixels = size.width * size.height;
  return Math.ceil(Math.sqrt(pixels / Math.min(maxCells, cellsPerTriangle * triangles)));
}

function meshOf(
  surface: ReliefSurface,
  colours: Uint8Array,
  format: ReliefFormat,
  scale: ResultScale,
  { triangles }: ReliefOptions,
): ReliefMesh | undefined {
  const finest = finestSteps * scale.stepDepth;
  if (format !== 'stl') {
    return cutMesh(surface, colours, triangles, finest);
  }
  const floor = farthest(surface);
  // Walls and base take three triangles for each edge of the rim.
  return closedMesh(surface, floor, triangles, finest, (mesh) => 3 * rimLength(mesh, surface));
}

/** Leaves out what is too thin to stand as a wall; see `dropSlender`. */
function leaveOutSlender(surface: ReliefSurface, scale: ResultScale, space: SpaceMap): string[] {
  const { changed, minCells } = dropSlender(surface, edgeJump(scale, surface.cellPx));
  if (changed === 0) return [];
  const width = minCells * surface.cellPx * space.perPixel;
  return [
    `Hairs and other things that stand free and are narrower than ${significantNumber(width, 2)} ${space.unit} are left out of the solid: they would be walls too thin to print.`,
  ];
}

function farthest({ depth }: ReliefSurface): number {
  let far = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < depth.length; i++) if (depth[i] > far) far = depth[i];
  return far;
}

/** Vertices on the rim of the grid, which are as many as its edges there. */
function rimLength({ corners }: ReliefMesh, { width, height }: ReliefSurface): number {
  let count = 0;
  for (let i = 0; i < corners.length; i += 2) {
    const [x, y] = [corners[i], corners[i + 1]];
    if (x === 0 || y === 0 || x === width || y === height) count++;
  }
  return count;
}

/** The walls follow the lines of sight, so that no part of the surface reaches through them. */
function solidOf(
  mesh: ReliefMesh,
  points: Float32Array,
  surface: ReliefSurface,
  { size }: RunRecord,
  space: SpaceMap,
) {
  const { size: box } = pointsBox(points);
  const base = farthest(surface) + (baseShare * Math.max(box[0], box[1])) / space.perDepth;
  return closeSolid(points, mesh.triangles, (vertex) => {
    const x = cornerPixel(mesh.corners[2 * vertex], surface.cellPx, size.width);
    const y = cornerPixel(mesh.corners[2 * vertex + 1], surface.cellPx, size.height);
    return space.at(x, y, base);
  });
}

function texturePoints({ corners }: ReliefMesh, cellPx: number, { size }: RunRecord): Float32Array {
  const texture = new Float32Array(corners.length);
  for (let i = 0; i < corners.length; i += 2) {
    texture[i] = (cornerPixel(corners[i], cellPx, size.width) + 0.5) / size.width;
    texture[i + 1] = (cornerPixel(corners[i + 1], cellPx, size.height) + 0.5) / size.height;
  }
  return texture;
}

function nothingLeft(folder: string, format: ReliefFormat): InputError {
  const why =
    format === 'stl'
      ? `is wide enough for a solid. Choose a .glb, .ply or .obj with ${named('out')}`
      : 'is more than a speck, so there is no relief to make of it. Look at it with lamella view';
  return new InputError(`Nothing that has a depth in ${folder} ${why}.`);
}

function tooFewTriangles(triangles: number): InputError {
  return new InputError(
    `The depth edges of this result alone take more than ${triangles} triangles: allow more with ${named('triangles')}.`,
  );
}

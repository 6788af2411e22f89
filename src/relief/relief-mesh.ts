import { closedField, cutField, surfaceCorner } from './cell-fields.js';
import { cornerHeight, groupMean } from './corner-groups.js';
import { type CellField, Refinement } from './refinement.js';
import type { SurfaceRaster } from './surface-raster.js';
import { fitTolerance } from './triangle-budget.js';

/** A surface as triangles, its vertices in the picture's own coordinates. */
export interface ReliefMesh {
  /** (vertices, 2): corners of cells, x right and y down, counted in cells from the upper left corner of the first. */
  corners: Float32Array;
  /** (vertices), units of depth.tif. */
  depth: Float32Array;
  /** (vertices), 0 to 255. */
  confidence: Uint8Array;
  /** (vertices, 3), sRGB. */
  colour: Uint8Array;
  /** (triangles, 3), counterclockwise as the camera sees them. */
  triangles: Uint32Array;
  /** How far the triangles lie from the surface, at the middles of its cells. */
  error: MeshError;
}

/** Units of depth.tif. */
export interface MeshError {
  max: number;
  rms: number;
}

/**
 * Triangles over a surface that is cut at its depth edges.
 *
 * @param colours (rows, cols, 3) of the surface, sRGB.
 * @param finest Error below which nothing is gained, units of depth.
 * @returns Undefined when its depth edges alone take more triangles than allowed.
 */
export function cutMesh(
  raster: SurfaceRaster,
  colours: Uint8Array,
  maxTriangles: number,
  finest: number,
): ReliefMesh | undefined {
  const { width, height, confidence } = raster;
  const refinement = new Refinement(cutField(raster));
  const tolerance = fitTolerance(refinement, maxTriangles, finest);
  if (tolerance === undefined) return undefined;

  const vertices = new VertexList();
  const triangles = new Uint32Array(3 * refinement.count(tolerance));
  const error = new ErrorSum(raster, vertices);
  // Most corners have one surface; where more meet, the others are looked up.
  const firstAt = new Int32Array((width + 1) * (height + 1)).fill(-1);
  const firstGroup = new Uint8Array(firstAt.length);
  const others = new Map<number, number>();
  const vertexAt = (cornerX: number, cornerY: number, column: number, row: number): number => {
    const { x, y, group } = surfaceCorner(raster, cornerX, cornerY, column, row);
    const corner = y * (width + 1) + x;
    if (firstAt[corner] >= 0 && firstGroup[corner] === group) return firstAt[corner];
    const known = others.get(corner * 16 + group);
    if (known !== undefined) return known;
    const vertex = vertices.add(
      x,
      y,
      cornerHeight(raster, x, y, group),
      groupMean(raster, confidence, x, y, group),
    );
    for (let channel = 0; channel < 3; channel++) {
      vertices.paint(vertex, channel, groupMean(raster, colours, x, y, group, 3, channel));
    }
    if (firstAt[corner] < 0) {
      firstAt[corner] = vertex;
      firstGroup[corner] = group;
    } else others.set(corner * 16 + group, vertex);
    return vertex;
  };
  let at = 0;
  refinement.visit(tolerance, (ax, ay, bx, by, cx, cy) => {
    const towardsX = ax + bx + cx;
    const towardsY = ay + by + cy;
    const a = vertexAt(ax, ay, 3 * ax < towardsX ? ax : ax - 1, 3 * ay < towardsY ? ay : ay - 1);
    const b = vertexAt(bx, by, 3 * bx < towardsX ? bx : bx - 1, 3 * by < towardsY ? by : by - 1);
    const c = vertexAt(cx, cy, 3 * cx < towardsX ? cx : cx - 1, 3 * cy < towardsY ? cy : cy - 1);
    triangles[at++] = a;
    triangles[at++] = b;
    triangles[at++] = c;
    error.add(a, b, c);
  });
  return { ...vertices.take(), triangles, error: error.result() };
}

/**
 * A closed top over the whole grid, for a solid: one height for each corner.
 *
 * @param added Triangles that close it below, of which there are no more than allowed together with its own.
 */
export function closedMesh(
  raster: SurfaceRaster,
  floor: number,
  maxTriangles: number,
  finest: number,
  added: (mesh: ReliefMesh) => number,
): ReliefMesh | undefined {
  const field = closedField(raster, floor);
  const refinement = new Refinement(field);
  // How many are added is known afterwards.
  for (let allowed = maxTriangles; ; ) {
    const tolerance = fitTolerance(refinement, allowed, finest);
    if (tolerance === undefined) return undefined;
    const mesh = closedAt(raster, field, refinement, tolerance);
    const excess = mesh.triangles.length / 3 + added(mesh) - maxTriangles;
    if (excess <= 0) return mesh;
    allowed -= excess;
  }
}

function closedAt(
  raster: SurfaceRaster,
  field: CellField,
  refinement: Refinement,
  tolerance: number,
): ReliefMesh {
  const { width, height } = raster;
  const vertices = new VertexList();
  const triangles = new Uint32Array(3 * refinement.count(tolerance));
  const known = new Int32Array((width + 1) * (height + 1)).fill(-1);
  const error = new ErrorSum(raster, vertices);
  const corner = (cornerX: number, cornerY: number): number => {
    const [x, y] = [Math.min(cornerX, width), Math.min(cornerY, height)];
    const at = y * (width + 1) + x;
    if (known[at] < 0) known[at] = vertices.add(x, y, field.heightAt(x, y, 0, 0), 0);
    return known[at];
  };
  let at = 0;
  refinement.visit(tolerance, (ax, ay, bx, by, cx, cy) => {
    const [a, b, c] = [corner(ax, ay), corner(bx, by), corner(cx, cy)];
    triangles[at++] = a;
    triangles[at++] = b;
    triangles[at++] = c;
    error.add(a, b, c);
  });
  return { ...vertices.take(), triangles, error: error.result() };
}

/** Vertices whose number is not known before. */
class VertexList {
  private corners = new Float32Array(2 << 12);
  private depth = new Float32Array(1 << 12);
  private confidence = new Uint8Array(1 << 12);
  private colour = new Uint8Array(3 << 12);
  private count = 0;

  add(x: number, y: number, depth: number, confidence: number): number {
    if (this.count === this.depth.length) this.grow();
    const vertex = this.count++;
    this.corners[2 * vertex] = x;
    this.corners[2 * vertex + 1] = y;
    this.depth[vertex] = depth;
    this.confidence[vertex] = Math.round(confidence);
    return vertex;
  }

  paint(vertex: number, channel: number, value: number): void {
    this.colour[3 * vertex + channel] = Math.round(value);
  }

  x(vertex: number): number {
    return this.corners[2 * vertex];
  }

  y(vertex: number): number {
    return this.corners[2 * vertex + 1];
  }

  z(vertex: number): number {
    return this.depth[vertex];
  }

  take(): Omit<ReliefMesh, 'triangles' | 'error'> {
    return {
      corners: this.corners.slice(0, 2 * this.count),
      depth: this.depth.slice(0, this.count),
      confidence: this.confidence.slice(0, this.count),
      colour: this.colour.slice(0, 3 * this.count),
    };
  }

  private grow(): void {
    const longer = <A extends Float32Array | Uint8Array>(old: A, fresh: A): A => {
      fresh.set(old);
      return fresh;
    };
    this.corners = longer(this.corners, new Float32Array(2 * this.corners.length));
    this.depth = longer(this.depth, new Float32Array(2 * this.depth.length));
    this.confidence = longer(this.confidence, new Uint8Array(2 * this.confidence.length));
    this.colour = longer(this.colour, new Uint8Array(2 * this.colour.length));
  }
}

/** Distances of triangles from the cells that they cover. */
class ErrorSum {
  private max = 0;
  private squares = 0;
  private count = 0;

  constructor(
    private readonly raster: SurfaceRaster,
    private readonly vertices: VertexList,
  ) {}

  add(a: number, b: number, c: number): void {
    const { vertices } = this;
    const { width, height, depth } = this.raster;
    const [ax, ay, az] = [vertices.x(a), vertices.y(a), vertices.z(a)];
    const [abX, abY] = [vertices.x(b) - ax, vertices.y(b) - ay];
    const [acX, acY] = [vertices.x(c) - ax, vertices.y(c) - ay];
    const area = abX * acY - abY * acX;
    if (area === 0) return;
    const slopeX = ((vertices.z(b) - az) * acY - (vertices.z(c) - az) * abY) / area;
    const slopeY = ((vertices.z(c) - az) * abX - (vertices.z(b) - az) * acX) / area;
    const bottom = Math.min(height, ay + Math.max(0, abY, acY));
    const right = Math.min(width, ax + Math.max(0, abX, acX));
    const left = ax + Math.min(0, abX, acX);
    for (let row = ay + Math.min(0, abY, acY); row < bottom; row++) {
      const y = row + 0.5 - ay;
      for (let column = left; column < right; column++) {
        const x = column + 0.5 - ax;
        // Shares of b and c in the point.
        const shareB = (x * acY - y * acX) / area;
        const shareC = (y * abX - x * abY) / area;
        if (shareB < 0 || shareC < 0 || shareB + shareC > 1) continue;
        const difference = Math.abs(az + slopeX * x + slopeY * y - depth[row * width + column]);
        // NaN, where a solid closes what the surface leaves out, counts for none.
        if (!(difference >= 0)) continue;
        if (difference > this.max) this.max = difference;
        this.squares += difference * difference;
        this.count++;
      }
    }
  }

  result(): MeshError {
    return { max: this.max, rms: this.count === 0 ? 0 : Math.sqrt(this.squares / this.count) };
  }
}

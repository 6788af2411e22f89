/** The cells a frame is drawn in: the frame and a border wide enough for every disc. */
export interface Grid {
  width: number;
  height: number;
  border: number;
  /** Cells of a row, border included. */
  stride: number;
  rows: number;
}

export function createGrid(width: number, height: number, border: number): Grid {
  return { width, height, border, stride: width + 2 * border, rows: height + 2 * border };
}

/** True when a disc around a grid cell reaches into the frame. What does not is left out, so none leaves the grid. */
export function discReaches(grid: Grid, column: number, row: number, radiusPx: number): boolean {
  const x = column - grid.border;
  const y = row - grid.border;
  const reach = radiusPx + 1;
  return x >= -reach && y >= -reach && x < grid.width + reach && y < grid.height + reach;
}

/** Points of light of one frame, in a struct of growing arrays that are used again for the next frame. */
export interface Elements {
  count: number;
  /** Grid cell. */
  cell: Int32Array;
  /** Linear colour times coverage, coverage; four numbers an element. */
  rgba: Float32Array;
  /** Steps from the anchor's plane of focus. */
  depth: Float32Array;
  /** Radius of the blur disc, px. */
  radius: Float32Array;
  /** Growth of that radius along x and y of the frame, as a thing of unbroken slope has it; two numbers an element. */
  slope: Float32Array;
  /** 0 is drawn before 1 where both lie at one depth. */
  rank: Uint8Array;
}

export function createElements(): Elements {
  return {
    count: 0,
    cell: new Int32Array(0),
    rgba: new Float32Array(0),
    depth: new Float32Array(0),
    radius: new Float32Array(0),
    slope: new Float32Array(0),
    rank: new Uint8Array(0),
  };
}

/** Makes room for `more` further elements; earlier ones are kept. */
export function reserve(elements: Elements, more: number): void {
  const needed = elements.count + more;
  if (needed <= elements.cell.length) return;
  const capacity = Math.ceil(needed * 1.25);
  const grow = <T extends Float32Array | Int32Array | Uint8Array>(old: T, next: T): T => {
    next.set(old);
    return next;
  };
  elements.cell = grow(elements.cell, new Int32Array(capacity));
  elements.rgba = grow(elements.rgba, new Float32Array(4 * capacity));
  elements.depth = grow(elements.depth, new Float32Array(capacity));
  elements.radius = grow(elements.radius, new Float32Array(capacity));
  elements.slope = grow(elements.slope, new Float32Array(2 * capacity));
  elements.rank = grow(elements.rank, new Uint8Array(capacity));
}

/** Elements from the nearest slab of depth to the farthest, in a slab by rank, in a rank as they were added. */
export interface DepthOrder {
  /** Element numbers in drawing order. */
  order: Int32Array;
  /** Element numbers of group g are order[starts[g]] to order[starts[g + 1] - 1]: one slab of depth and one rank. */
  starts: Int32Array;
  /** Slab of each group, counted from the nearest. */
  slabs: Int32Array;
}

/** Sorts elements into slabs of depth `slabSteps` thick by counting. */
export function sortByDepth(elements: Elements, ranks: number, slabSteps: number): DepthOrder {
  const { count, depth, rank } = elements;
  // Slabs begin at the same depths in every frame, whatever it shows: no thing changes slab between frames.
  let near = Infinity;
  let far = -Infinity;
  for (let i = 0; i < count; i++) {
    const slab = Math.floor(depth[i] / slabSteps);
    if (slab < near) near = slab;
    if (slab > far) far = slab;
  }
  const slabCount = count === 0 ? 0 : far - near + 1;
  const sizes = new Int32Array(slabCount * ranks + 1);
  const keys = new Int32Array(count);
  for (let i = 0; i < count; i++) {
    keys[i] = (Math.floor(depth[i] / slabSteps) - near) * ranks + rank[i];
    sizes[keys[i] + 1]++;
  }
  for (let key = 1; key < sizes.length; key++) sizes[key] += sizes[key - 1];
  const next = sizes.slice();
  const order = new Int32Array(count);
  for (let i = 0; i < count; i++) order[next[keys[i]]++] = i;
  const slabs = new Int32Array(slabCount * ranks);
  for (let key = 0; key < slabs.length; key++) slabs[key] = Math.floor(key / ranks);
  return { order, starts: sizes, slabs };
}

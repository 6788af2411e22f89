import type { PageSize } from '../protocol.js';
import { type Camera, levelCount, levelFor, toPicture } from './camera.js';

type TileImage = ImageBitmap | HTMLCanvasElement;

interface TileAddress {
  level: number;
  column: number;
  row: number;
}

interface Tile extends TileAddress {
  layer: string;
  image: TileImage | undefined;
  /** The drawing in which it was asked for last. */
  used: number;
  isFailed: boolean;
  loading: AbortController | undefined;
}

/** Loads one tile; null when there is none. Aborted when the tile is no longer wanted. */
export type TileLoader = (
  layer: string,
  level: number,
  column: number,
  row: number,
  signal: AbortSignal,
) => Promise<TileImage | null>;

/** Tiles kept for all layers together. */
const maxTiles = 240;
/** A browser opens six connections: one is left for what is asked of the spot that is pointed at. */
const loadsAtOnce = 5;
/** Tiles that are read ahead load one or two at a time: what is in sight goes before them. */
const aheadAtOnce = 2;

/** Tiles of any layer, loaded as they come into sight, the coarse ones first; those about to come are read ahead. */
export class TileCache {
  private readonly tiles = new Map<string, Tile>();
  private wanted: Tile[] = [];
  private ahead: Tile[] = [];
  private loading = 0;
  private clock = 0;
  readonly levels: number;

  constructor(
    private readonly picture: PageSize,
    private readonly tileSize: number,
    private readonly load: TileLoader,
    private readonly onTile: () => void,
  ) {
    this.levels = levelCount(picture, tileSize);
  }

  /** Forgets the tiles of layers whose name begins so. */
  forget(prefix: string): void {
    for (const [key, tile] of this.tiles) {
      if (!key.startsWith(prefix)) continue;
      tile.loading?.abort();
      this.tiles.delete(key);
    }
  }

  /** Whether something of a layer is there to be shown for it. */
  isBegun(layer: string): boolean {
    return this.tiles.get(tileKey(layer, { level: this.levels - 1, column: 0, row: 0 }))?.image !== undefined;
  }

  /** Begins a new picture. */
  begin(): void {
    this.clock++;
    this.wanted = [];
    this.ahead = [];
  }

  /**
   * Draws what of a layer is in sight; coarser tiles stand in for those on their way.
   *
   * @param before A layer that is shown where nothing of this one is there yet; where it is the same picture in another
   *   state (see `isSamePicture`), each of its tiles stays until the one that replaces it is there.
   * @returns True when all tiles are there.
   */
  draw(
    context: CanvasRenderingContext2D,
    layer: string,
    camera: Camera,
    screen: PageSize,
    pixelRatio: number,
    before?: string,
  ): boolean {
    const whole = this.tile(layer, { level: this.levels - 1, column: 0, row: 0 });
    // The coarsest level is always wanted: it comes first, and stands in for all others.
    this.want(whole, this.wanted);
    const isSame = before !== undefined && isSamePicture(layer, before);
    if (before !== undefined && (isSame || !whole.image)) {
      this.drawKept(context, before, camera, screen, pixelRatio);
    }
    if (whole.image && !isSame) this.drawTile(context, whole, camera);
    let isComplete = whole.image !== undefined || whole.isFailed;
    for (const address of this.visibleTiles(camera, screen, pixelRatio)) {
      const tile = this.tile(layer, address);
      this.want(tile, this.wanted);
      if (tile.image) {
        this.drawTile(context, tile, camera);
        continue;
      }
      if (!tile.isFailed) isComplete = false;
      if (!isSame || !this.tiles.get(tileKey(before, address))?.image) this.standIn(context, tile, camera);
    }
    return isComplete;
  }

  /** Loads what a layer would show, once all that is in sight is there. */
  readAhead(layer: string, camera: Camera, screen: PageSize, pixelRatio: number): void {
    const whole = { level: this.levels - 1, column: 0, row: 0 };
    for (const address of [whole, ...this.visibleTiles(camera, screen, pixelRatio)]) {
      this.want(this.tile(layer, address), this.ahead);
    }
  }

  /** Ends the picture: loads what was asked for, gives up what no longer is, and lets go of what was seen long ago. */
  end(): void {
    for (const [key, tile] of this.tiles) {
      if (tile.used === this.clock || tile.image || tile.isFailed) continue;
      tile.loading?.abort();
      this.tiles.delete(key);
    }
    if (this.tiles.size > maxTiles) {
      const old = [...this.tiles].sort((first, second) => first[1].used - second[1].used);
      for (const [key, tile] of old.slice(0, this.tiles.size - maxTiles)) {
        if (tile.used === this.clock) break;
        if (tile.image instanceof ImageBitmap) tile.image.close();
        this.tiles.delete(key);
      }
    }
    this.startNext();
  }

  /** What is there of a layer, drawn as it was seen last; nothing is loaded for it. */
  private drawKept(
    context: CanvasRenderingContext2D,
    layer: string,
    camera: Camera,
    screen: PageSize,
    pixelRatio: number,
  ): void {
    const keep = (address: TileAddress): Tile | undefined => {
      const tile = this.tiles.get(tileKey(layer, address));
      if (!tile?.image) return undefined;
      tile.used = this.clock;
      return tile;
    };
    const whole = keep({ level: this.levels - 1, column: 0, row: 0 });
    if (whole) this.drawTile(context, whole, camera);
    for (const address of this.visibleTiles(camera, screen, pixelRatio)) {
      const tile = keep(address);
      if (tile) this.drawTile(context, tile, camera);
    }
  }

  private *visibleTiles(camera: Camera, screen: PageSize, pixelRatio: number): Generator<TileAddress> {
    const level = levelFor(camera.scale, pixelRatio, this.levels);
    const side = this.tileSize * 2 ** level;
    const [left, top] = toPicture(camera, 0, 0);
    const [right, bottom] = toPicture(camera, screen.width, screen.height);
    const columns = Math.ceil(this.picture.width / side);
    const rows = Math.ceil(this.picture.height / side);
    const firstRow = Math.max(0, Math.floor((top + 0.5) / side));
    const firstColumn = Math.max(0, Math.floor((left + 0.5) / side));
    for (let row = firstRow; row < rows && row * side <= bottom + 1; row++) {
      for (let column = firstColumn; column < columns && column * side <= right + 1; column++) {
        yield { level, column, row };
      }
    }
  }

  /** The nearest coarser tile that is there, for the part that a missing one would cover. */
  private standIn(context: CanvasRenderingContext2D, missing: Tile, camera: Camera): void {
    const { layer, level, column, row } = missing;
    for (let up = level + 1; up < this.levels; up++) {
      const ratio = 2 ** (up - level);
      const address = { level: up, column: Math.floor(column / ratio), row: Math.floor(row / ratio) };
      const tile = this.tiles.get(tileKey(layer, address));
      if (!tile?.image) continue;
      const side = this.tileSize * 2 ** level;
      const [x, y] = [column * side, row * side];
      context.save();
      context.beginPath();
      context.rect(
        (x - 0.5) * camera.scale + camera.x,
        (y - 0.5) * camera.scale + camera.y,
        side * camera.scale,
        side * camera.scale,
      );
      context.clip();
      this.drawTile(context, tile, camera);
      context.restore();
      return;
    }
  }

  private drawTile(
    context: CanvasRenderingContext2D,
    { image, level, column, row }: Tile,
    camera: Camera,
  ): void {
    if (!image) return;
    const step = 2 ** level;
    // The edges of tiles lie between pixels, half a pixel before their centres.
    const x = (column * this.tileSize * step - 0.5) * camera.scale + camera.x;
    const y = (row * this.tileSize * step - 0.5) * camera.scale + camera.y;
    const width = Math.min(image.width * step, this.picture.width - column * this.tileSize * step);
    const height = Math.min(image.height * step, this.picture.height - row * this.tileSize * step);
    context.imageSmoothingEnabled = camera.scale < 3;
    context.imageSmoothingQuality = 'high';
    context.drawImage(
      image,
      0,
      0,
      width / step,
      height / step,
      x,
      y,
      width * camera.scale,
      height * camera.scale,
    );
  }

  private tile(layer: string, address: TileAddress): Tile {
    const key = tileKey(layer, address);
    let tile = this.tiles.get(key);
    if (!tile) {
      tile = { ...address, layer, image: undefined, used: 0, isFailed: false, loading: undefined };
      this.tiles.set(key, tile);
    }
    tile.used = this.clock;
    return tile;
  }

  private want(tile: Tile, list: Tile[]): void {
    if (!tile.image && !tile.isFailed && !tile.loading && !list.includes(tile)) list.push(tile);
  }

  private startNext(): void {
    while (this.loading < loadsAtOnce && this.wanted.length > 0) this.start(this.wanted.shift()!);
    while (this.loading < aheadAtOnce && this.wanted.length === 0 && this.ahead.length > 0) {
      this.start(this.ahead.shift()!);
    }
  }

  private start(tile: Tile): void {
    if (tile.loading) return;
    const { layer, level, column, row } = tile;
    const loading = new AbortController();
    tile.loading = loading;
    this.loading++;
    this.load(layer, level, column, row, loading.signal)
      .then((image) => {
        if (image) tile.image = image;
        else tile.isFailed = true;
      })
      .catch(() => {
        tile.isFailed = !loading.signal.aborted;
      })
      .finally(() => {
        this.loading--;
        tile.loading = undefined;
        this.onTile();
        this.startNext();
      });
  }
}

/** Whether two layers are one picture in two states, as the composite before and after a mend: "composite KEY". */
export function isSamePicture(layer: string, before: string): boolean {
  return layer !== before && layer.split(' ', 1)[0] === before.split(' ', 1)[0];
}

function tileKey(layer: string, { level, column, row }: TileAddress): string {
  return `${layer}/${level}/${column}/${row}`;
}

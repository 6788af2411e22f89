import type { PageSize } from '../protocol.js';
import { type Camera, levelCount, levelFor, toPicture } from './camera.js';

type TileImage = ImageBitmap | HTMLCanvasElement;

interface Tile {
  image: TileImage | undefined;
  used: number;
  isFailed: boolean;
}

/** Loads one tile; null when there is none. */
export type TileLoader = (
  layer: string,
  level: number,
  column: number,
  row: number,
) => Promise<TileImage | null>;

/** Tiles kept for all layers together. */
const mostTiles = 240;
const loadsAtOnce = 6;

/** Tiles of any layer, loaded as they come into sight, the latest wish first. */
export class TileCache {
  private readonly tiles = new Map<string, Tile>();
  private waiting: (() => void)[] = [];
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
    for (const key of this.tiles.keys()) if (key.startsWith(prefix)) this.tiles.delete(key);
  }

  /** Begins a new picture: what was waited for and is no longer in sight is not loaded. */
  begin(): void {
    this.clock++;
    this.waiting = [];
  }

  /** Draws what of a layer is in sight; coarser tiles stand in for those on their way. True when all are there. */
  draw(
    context: CanvasRenderingContext2D,
    layer: string,
    camera: Camera,
    screen: PageSize,
    pixelRatio: number,
  ): boolean {
    const level = levelFor(camera.scale, pixelRatio, this.levels);
    const last = this.levels - 1;
    // The coarsest level is always wanted: whatever happens, something is there at once.
    const whole = last === level ? undefined : this.tile(layer, last, 0, 0);
    if (whole?.image) this.place(context, whole.image, last, 0, 0, camera);
    const side = this.tileSize * 2 ** level;
    const [left, top] = toPicture(camera, 0, 0);
    const [right, bottom] = toPicture(camera, screen.width, screen.height);
    const columns = Math.ceil(this.picture.width / side);
    const rows = Math.ceil(this.picture.height / side);
    let isComplete = true;
    for (
      let row = Math.max(0, Math.floor((top + 0.5) / side));
      row < rows && row * side <= bottom + 1;
      row++
    ) {
      for (
        let column = Math.max(0, Math.floor((left + 0.5) / side));
        column < columns && column * side <= right + 1;
        column++
      ) {
        const tile = this.tile(layer, level, column, row);
        if (tile.image) {
          this.place(context, tile.image, level, column, row, camera);
          continue;
        }
        if (!tile.isFailed) isComplete = false;
        this.standIn(context, layer, level, column, row, camera);
      }
    }
    return isComplete;
  }

  /** The nearest coarser tile that is there, for the part that a missing one would cover. */
  private standIn(
    context: CanvasRenderingContext2D,
    layer: string,
    level: number,
    column: number,
    row: number,
    camera: Camera,
  ): void {
    for (let up = level + 1; up < this.levels; up++) {
      const shift = 2 ** (up - level);
      const key = tileKey(layer, up, Math.floor(column / shift), Math.floor(row / shift));
      const tile = this.tiles.get(key);
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
      this.place(context, tile.image, up, Math.floor(column / shift), Math.floor(row / shift), camera);
      context.restore();
      return;
    }
  }

  private place(
    context: CanvasRenderingContext2D,
    image: TileImage,
    level: number,
    column: number,
    row: number,
    camera: Camera,
  ): void {
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

  private tile(layer: string, level: number, column: number, row: number): Tile {
    const key = tileKey(layer, level, column, row);
    const known = this.tiles.get(key);
    if (known) {
      known.used = this.clock;
      if (!known.image && !known.isFailed) this.request(key, known, layer, level, column, row);
      return known;
    }
    const tile: Tile = { image: undefined, used: this.clock, isFailed: false };
    this.tiles.set(key, tile);
    this.request(key, tile, layer, level, column, row);
    return tile;
  }

  private readonly underWay = new Set<string>();

  private request(key: string, tile: Tile, layer: string, level: number, column: number, row: number): void {
    if (this.underWay.has(key)) return;
    const start = () => {
      this.loading++;
      this.underWay.add(key);
      this.load(layer, level, column, row)
        .then((image) => {
          if (image) tile.image = image;
          else tile.isFailed = true;
        })
        .catch(() => {
          tile.isFailed = true;
        })
        .finally(() => {
          this.loading--;
          this.underWay.delete(key);
          this.onTile();
          this.startNext();
        });
    };
    this.waiting.push(start);
    queueMicrotask(() => this.startNext());
  }

  private startNext(): void {
    while (this.loading < loadsAtOnce && this.waiting.length > 0) this.waiting.shift()!();
  }

  /** Lets go of what has not been in sight for the longest. */
  trim(): void {
    if (this.tiles.size <= mostTiles) return;
    const old = [...this.tiles].sort((first, second) => first[1].used - second[1].used);
    for (const [key, tile] of old.slice(0, this.tiles.size - mostTiles)) {
      if (tile.used === this.clock) return;
      if (tile.image instanceof ImageBitmap) tile.image.close();
      this.tiles.delete(key);
    }
  }
}

function tileKey(layer: string, level: number, column: number, row: number): string {
  return `${layer}/${level}/${column}/${row}`;
}

import type { PageSize } from '../protocol.js';
import type { Camera } from './camera.js';
import { TileCache } from './tile-cache.js';

/** Opacity, of 255, of the shade over what is not lit. */
const shade = 190;

/**
 * Shades all of the picture that does not come from the held frames. The numbers come as tiles; the shade is made here, so
 * that dragging over the ruler needs no further word with the server.
 */
export class LitTiles {
  private readonly shades: TileCache;
  private readonly numbers = new Map<string, { numbers: Uint16Array; width: number; height: number }>();
  private held: [number, number] | undefined;

  constructor(
    private readonly picture: PageSize,
    private readonly tileSize: number,
    private readonly addressOf: (level: number, column: number, row: number) => string,
    onTile: () => void,
  ) {
    this.shades = new TileCache(
      picture,
      tileSize,
      (_layer, level, column, row) => this.shade(level, column, row),
      onTile,
    );
  }

  hold(held: [number, number] | undefined): void {
    this.held = held;
    this.shades.forget('');
  }

  /** After the maps have changed. */
  forget(): void {
    this.numbers.clear();
    this.shades.forget('');
  }

  draw(context: CanvasRenderingContext2D, camera: Camera, screen: PageSize, pixelRatio: number): void {
    if (!this.held) return;
    this.shades.begin();
    this.shades.draw(context, this.held.join('-'), camera, screen, pixelRatio);
    this.shades.end();
  }

  private async shade(level: number, column: number, row: number): Promise<HTMLCanvasElement | null> {
    const address = this.addressOf(level, column, row);
    const tile = this.numbers.get(address) ?? (await this.fetchNumbers(address, level, column, row));
    if (!tile) return null;
    this.numbers.set(address, tile);
    const [first, last] = this.held ?? [0, 65535];
    const { width, height, numbers } = tile;
    const image = new ImageData(width, height);
    for (let i = 0; i < numbers.length; i++) {
      const isLit = numbers[i] >= first && numbers[i] <= last;
      image.data[i * 4 + 3] = isLit ? 0 : shade;
    }
    const canvas = document.createElement('canvas');
    canvas.width = width;
    canvas.height = height;
    canvas.getContext('2d')?.putImageData(image, 0, 0);
    return canvas;
  }

  private async fetchNumbers(address: string, level: number, column: number, row: number) {
    const response = await fetch(address);
    if (!response.ok) return null;
    const numbers = new Uint16Array(await response.arrayBuffer());
    const step = 2 ** level;
    const width = Math.min(this.tileSize, Math.ceil(this.picture.width / step) - column * this.tileSize);
    const height = Math.min(this.tileSize, Math.ceil(this.picture.height / step) - row * this.tileSize);
    return { numbers, width, height };
  }
}

import { cutMerged } from '../mend/merge-region.js';
import type { RowSource } from '../mend/raster.js';
import type { SourceRule } from '../options/source-rule.js';
import { encodeJpeg } from '../result/jpeg-file.js';
import type { RunRecord } from '../result/run-record.js';
import { clipRegion, holdsRegion, type PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import type { FrameRasters } from './frame-rasters.js';
import { isMapName, paintMap } from './map-layers.js';
import type { MapRasters } from './map-rasters.js';
import type { MendPreview } from './mend-preview.js';
import { paintAligned, paintPicture, type Rgb } from './paint.js';
import { planeSource, type RuleRegions } from './rule-regions.js';
import { levelCount, type TileAddress, tileCounts, tileRegion } from './tiles.js';

const jpegQuality = 95;
/** Levels of this many tiles at most are made before they are asked for, and kept: some megabytes. */
const maxPrepared = 12;
/** A crop larger than this is reduced. */
const cropSide = 360;

/** What pictures are made of; record and maps change with the result. */
export interface PictureSources {
  readonly record: RunRecord;
  readonly maps: MapRasters;
  readonly frames: readonly StackFrame[];
  readonly frameRasters: FrameRasters;
  readonly preview: MendPreview;
  readonly rules: RuleRegions;
  /** Profile of the composite. */
  readonly icc: Buffer | undefined;
}

/** Tiles and crops of a result as JPEG, in the composite's profile where they show a photograph. */
export class Pictures {
  /** Tiles of the unmended composite that are kept. */
  private readonly prepared = new Map<string, Promise<Buffer | undefined>>();

  constructor(private readonly from: PictureSources) {}

  /**
   * Makes the tiles that a page asks for first, those of the coarsest levels, while the browser is still starting. One
   * after the other, so that what is asked for comes in between.
   */
  async prepare(signal: AbortSignal): Promise<void> {
    const { size } = this.from.record;
    for (let level = levelCount(size) - 1; level >= 0 && !signal.aborted; level--) {
      const [columns, rows] = tileCounts(level, size);
      if (columns * rows > maxPrepared) return;
      for (let i = 0; i < columns * rows; i++) {
        if (signal.aborted) return;
        await this.tile('composite', { level, column: i % columns, row: Math.floor(i / columns) }, '0');
      }
    }
  }

  /**
   * A tile of a layer; undefined when there is none.
   *
   * @param layer 'composite' (with the mends of `key`), 'depth', 'sources', 'confidence', 'coverage', or 'frame-N'.
   * @param signal Aborted when nobody waits for the tile any more: then the tile of a frame is given up.
   */
  async tile(
    layer: string,
    address: TileAddress,
    key: string,
    signal?: AbortSignal,
  ): Promise<Buffer | undefined> {
    const { size } = this.from.record;
    const region = tileRegion(address, size);
    if (!region) return undefined;
    const { level, column, row } = address;
    const [columns, rows] = tileCounts(level, size);
    if (layer !== 'composite' || key !== '0' || columns * rows > maxPrepared) {
      return this.drawTile(layer, region, level, key, signal);
    }
    const name = `${level}/${column}/${row}`;
    const known = this.prepared.get(name) ?? this.drawTile(layer, region, level, key);
    this.prepared.set(name, known);
    known.catch(() => this.prepared.delete(name));
    return known;
  }

  private async drawTile(
    layer: string,
    region: PictureRegion,
    level: number,
    key: string,
    signal?: AbortSignal,
  ): Promise<Buffer | undefined> {
    const rgb = await this.paint(layer, region, 2 ** level, key, true, signal);
    const isPhotograph = layer === 'composite' || layer.startsWith('frame-');
    return rgb && this.encode(rgb, region, isPhotograph);
  }

  private async paint(
    layer: string,
    region: PictureRegion,
    step: number,
    key: string,
    isTile: boolean,
    signal?: AbortSignal,
  ): Promise<Rgb | undefined> {
    const { record, maps, frames, frameRasters, preview } = this.from;
    if (layer === 'composite') {
      const source: RowSource | undefined = preview.source(key);
      return source && paintPicture(source, region, step);
    }
    if (isMapName(layer)) return maps.use((opened) => paintMap(layer, opened, record, region, step));
    const number = /^frame-(\d{1,5})$/.exec(layer)?.[1];
    const frame = frames.find((candidate) => candidate.number === Number(number));
    if (number === undefined || !frame) return undefined;
    const aligned = await frameRasters.alignReduced(frame, region, step, isTile, signal);
    return paintAligned(aligned, region);
  }

  /** A crop of the unmended composite (frame 0) or of an aligned frame, reduced where it is large. */
  async crop(number: number, region: PictureRegion): Promise<Buffer | undefined> {
    const inside = clipRegion(region, this.from.record.size);
    if (!inside) return undefined;
    const { step, reduced } = reducedCrop(inside);
    const rgb = await this.paint(number === 0 ? 'composite' : `frame-${number}`, reduced, step, '0', false);
    return rgb && this.encode(rgb, reduced, true);
  }

  /**
   * A crop of the composite as another rule merges it, of the pixels that `crop` shows; made when asked for, and kept.
   *
   * @param window What is merged anew: `Candidates.window`.
   * @param signal Aborted when nobody waits for it any more: then it is given up.
   * @throws InputError when it cannot be merged.
   */
  async mergedCrop(
    rule: SourceRule,
    region: PictureRegion,
    window: PictureRegion,
    signal?: AbortSignal,
  ): Promise<Buffer | undefined> {
    const { record, rules } = this.from;
    const inside = clipRegion(region, record.size);
    const part = clipRegion(window, record.size);
    if (!inside || !part || !holdsRegion(part, inside)) return undefined;
    const merged = await rules.merge(rule, part, signal);
    const { step, reduced } = reducedCrop(inside);
    const { x, y, width, height } = reduced;
    const blocks = { x: x * step, y: y * step, width: width * step, height: height * step };
    const shown = holdsRegion(part, blocks) ? blocks : inside;
    const source = planeSource(cutMerged(merged, shown).planes, shown);
    return this.encode(paintPicture(source, { x: 0, y: 0, width, height }, step), reduced, true);
  }

  private encode(rgb: Rgb, { width, height }: PictureRegion, isPhotograph: boolean): Promise<Buffer> {
    const { record, icc } = this.from;
    const profile = isPhotograph && record.composite.channels === 3 ? icc : undefined;
    return encodeJpeg(rgb, width, height, 3, { icc: profile, quality: jpegQuality });
  }
}

/** The level at which a crop is shown, and the region there. */
function reducedCrop({ x, y, width, height }: PictureRegion): { step: number; reduced: PictureRegion } {
  let step = 1;
  while (Math.max(width, height) > cropSide * 1.5 * step) step *= 2;
  const reduced = {
    x: Math.floor(x / step),
    y: Math.floor(y / step),
    width: Math.max(1, Math.floor(width / step)),
    height: Math.max(1, Math.floor(height / step)),
  };
  return { step, reduced };
}

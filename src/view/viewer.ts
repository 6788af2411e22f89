import { join, resolve } from 'node:path';
import sharp from 'sharp';
import { InputError } from '../errors.js';
import type { MeasureEdits } from '../measure/edit-measures.js';
import { editMends } from '../mend/apply-mends.js';
import { joinMends } from '../mend/join-mends.js';
import type { MendedRecord } from '../mend/mended-record.js';
import { type Mend, readMends } from '../mend/mends-file.js';
import type { Raster } from '../mend/raster.js';
import { mergedFolder } from '../mend/result-files.js';
import { readRunRecord } from '../result/read-run-record.js';
import type { RunRecord } from '../result/run-record.js';
import { LocalKernels } from '../trace/local-kernels.js';
import { findStackFrames, type StackFrame } from '../trace/stack-frames.js';
import { CheckedFrames } from './checked-frames.js';
import { CurveVolume } from './curve-volume.js';
import { doubtfulPlaces } from './doubtful-places.js';
import { FrameRasters } from './frame-rasters.js';
import { sectionOf } from './map-layers.js';
import { MapRasters } from './map-rasters.js';
import { onePixel, sharesAround } from './map-spots.js';
import { mendCandidates } from './mend-candidates.js';
import { MendPreview } from './mend-preview.js';
import { changeMeasures, keptMeasures, measureLine } from './page-measures.js';
import { Pictures } from './pictures.js';
import type {
  Candidates,
  DoubtfulPlace,
  KeptMeasure,
  PageMeasure,
  Preview,
  Progress,
  ResultInfo,
  Section,
  Spot,
} from './protocol.js';
import { readReduced } from './reduce.js';
import { resultInfo } from './result-info.js';
import { type ResultMark, readResultMark, readSettled } from './result-mark.js';
import { RuleRegions } from './rule-regions.js';
import { Store } from './store.js';
import { type TileAddress, tileRegion } from './tiles.js';

export interface ViewerOptions {
  framesFrom?: string | undefined;
  /** What to do where frames are missing, a sentence. */
  missingRemedy?: string;
}

const putBack = 'Put them back there.';

/** Side of the neighbourhood that a spot may ask for, pixels. */
const maxSpotRadius = 64;
/** Triangles of the relief that the page turns. */
const shownTriangles = 250_000;

/** A result opened for the page: pictures by parts, and what is known of every spot. */
export class Viewer {
  private preview: MendPreview;
  private readonly frameRasters: FrameRasters;
  private readonly checked: CheckedFrames;
  private readonly rules: RuleRegions;
  /** Of one state of the maps. */
  private doubtful: { version: number; places: Promise<DoubtfulPlace[]> } | undefined;
  /** Tiles and crops. */
  readonly pictures: Pictures;
  private readonly curves: CurveVolume;
  private readonly stop = new AbortController();
  private maps: MapRasters;
  /** Saving, and reading anew, one after the other: a result that is just being replaced is not there. */
  private turn: Promise<unknown> = Promise.resolve();
  private mapsVersion = 1;
  private problem: string | null = null;
  private started = false;
  private measuring: Promise<void> = Promise.resolve();
  private model: { version: number; bytes: Promise<Buffer> } | undefined;
  private preparing: Promise<void> = Promise.resolve();

  private constructor(
    private readonly folder: string,
    private readonly store: Store,
    private readonly options: ViewerOptions,
    private record: RunRecord,
    private mends: Mend[],
    private readonly frames: readonly StackFrame[],
    private readonly composite: Raster,
    icc: Buffer | undefined,
    /** Of what the page shows. */
    private shown: ResultMark,
    kernels: LocalKernels,
  ) {
    this.checked = new CheckedFrames();
    this.frameRasters = new FrameRasters(store, this.checked, kernels);
    this.rules = new RuleRegions(record, frames, this.checked, icc);
    this.preview = new MendPreview(composite, record, frames, this.frameRasters, this.rules);
    this.curves = new CurveVolume(record.size, frames);
    this.maps = new MapRasters(store, folder, record);
    const { rules, frameRasters, preview } = this;
    const now = { record: () => this.record, maps: () => this.maps };
    this.pictures = new Pictures({
      get record() {
        return now.record();
      },
      get maps() {
        return now.maps();
      },
      ...{ frames, frameRasters, preview, rules, icc },
    });
  }

  /** Throws InputError when the folder is no result or its picture cannot be read. */
  static async open(folder: string, options: ViewerOptions = {}): Promise<Viewer> {
    const store = await Store.open();
    try {
      return await readSettled(folder, (mark) => Viewer.openNow(folder, options, store, mark));
    } catch (error) {
      await store.close();
      throw error;
    }
  }

  private static async openNow(
    folder: string,
    options: ViewerOptions,
    store: Store,
    mark: ResultMark,
  ): Promise<Viewer> {
    const record = await readRunRecord(folder);
    const mends = await readMends(folder, record.size);
    const frames = await findStackFrames(record, options.framesFrom);
    const merged = await mergedFolder(folder);
    if (merged === folder && (record as MendedRecord).mends !== undefined) {
      throw new InputError(
        `The files of the merge itself are missing from ${folder}, which was mended: put its subfolder "unmended" back from a copy, or merge the stack again.`,
      );
    }
    const path = join(merged, record.composite.file);
    const composite = await store.raster(path, 'colour');
    const { width, height } = record.size;
    if (composite.width !== width || composite.height !== height) {
      await composite.close();
      throw new InputError(
        `Expected ${width} x ${height} pixels for ${path} but received ${composite.width} x ${composite.height}. Merge the stack again.`,
      );
    }
    const { icc } = await sharp(path, { limitInputPixels: false }).metadata();
    const kernels = await LocalKernels.start();
    const resolved = resolve(folder);
    return new Viewer(resolved, store, options, record, mends, frames, composite, icc, mark, kernels);
  }

  /** Opens the maps and measures the frames in the background; called once the first tiles are out. */
  startBackground(): void {
    if (this.started) return;
    this.started = true;
    const failed = (error: unknown) => {
      if (!this.stop.signal.aborted) this.problem = error instanceof Error ? error.message : String(error);
    };
    this.measuring = this.maps
      .openAll()
      .catch(failed)
      .then(() => this.curves.measureAll((frame) => this.checked.path(frame), this.stop.signal))
      .then((faults = []) => {
        const more = faults.length > 1 ? ` So have ${faults.length - 1} more.` : '';
        if (faults.length > 0) this.problem = `${faults[0]}${more}`;
      })
      .catch(failed);
  }

  async close(): Promise<void> {
    this.stop.abort();
    await Promise.allSettled([this.measuring, this.preparing]);
    await this.maps.retire();
    await this.rules.close();
    await this.frameRasters.close();
    await this.composite.close();
    await this.store.close();
  }

  info(): ResultInfo {
    const { folder, record, frames, mends, options } = this;
    const remedy = options.missingRemedy ?? putBack;
    return resultInfo(folder, record, frames, mends, String(this.mapsVersion), remedy);
  }

  progress(): Progress {
    return {
      measured: this.curves.measured,
      frames: this.frames.length,
      mapsReady: this.maps.allReady,
      problem: this.problem,
    };
  }

  /** Makes the tiles that a page asks for first. */
  prepare(): void {
    // Whoever asks for a tile that cannot be made gets the reason.
    this.preparing = this.pictures.prepare(this.stop.signal).catch(() => undefined);
  }

  /** Frame numbers of a tile, (height, width) as 16-bit little-endian, for lighting up what a frame supplied. */
  async sourceNumbers(address: TileAddress): Promise<Uint16Array | undefined> {
    const region = tileRegion(address, this.record.size);
    if (!region) return undefined;
    return this.maps.use(async (maps) =>
      Uint16Array.from(readReduced(await maps.open('sources'), region, 2 ** address.level, 'pick')),
    );
  }

  /** What is known of a pixel; sources over the square of `radius` about it. */
  spot(x: number, y: number, radius: number): Spot {
    const { record, maps } = this;
    const spot: Spot = { x, y };
    const depth = maps.ready('depth');
    if (depth) {
      const [value] = onePixel(depth, x, y);
      spot.depth = Number.isFinite(value) ? value : null;
    }
    const confidence = maps.ready('confidence');
    if (confidence) spot.confidence = onePixel(confidence, x, y)[0] * record.maps.confidence.scale;
    const coverage = maps.ready('coverage');
    if (coverage) {
      const [r, g, b] = onePixel(coverage, x, y);
      const packed = (r << 16) | (g << 8) | b;
      const found = record.maps.coverage.classes.find(
        ({ colour }) => Number.parseInt(colour.slice(1), 16) === packed,
      );
      if (found) spot.coverage = found.name;
    }
    const sources = maps.ready('sources');
    if (sources) spot.sources = sharesAround(sources, x, y, Math.min(maxSpotRadius, radius));
    if (this.curves.measured > 0) spot.curve = this.curves.at(x, y);
    return spot;
  }

  /** Depth along a line between two pixels of the picture. */
  async section(from: [number, number], to: [number, number], points: number): Promise<Section> {
    const depths = await this.maps.use(async (maps) => sectionOf(await maps.open('depth'), from, to, points));
    return { depths, profile: await measureLine(this.folder, 'profile', from, to) };
  }

  /** What `lamella measure` finds between two points. */
  distance(from: [number, number], to: [number, number]): Promise<PageMeasure> {
    return measureLine(this.folder, 'distance', from, to);
  }

  /** The measures that are kept with the result. */
  measures(): Promise<KeptMeasure[]> {
    return keptMeasures(this.folder);
  }

  /** Keeps measures with the result, or drops some; the list as it is then. */
  editMeasures(edits: MeasureEdits): Promise<KeptMeasure[]> {
    return this.inTurn(async () => {
      await this.requireSameMerge();
      return changeMeasures(this.folder, edits);
    });
  }

  /**
   * Frames worth mending a region from, none that a mend would be refused from.
   *
   * @throws InputError when the region holds no pixel of the picture, is too large, or no frame shows all of it.
   */
  async candidates(region: Mend['region']): Promise<Candidates> {
    for (;;) {
      const usable = await this.checked.usable(this.frames, this.record);
      const found = await this.maps.use(async (maps) =>
        mendCandidates(
          region,
          this.record.size,
          usable,
          this.frames,
          this.curves,
          await maps.open('sources'),
          this.record.options.rule,
        ),
      );
      const shown = new Set(found.frames.map(({ number }) => number));
      const checks = this.frames
        .filter(({ number }) => shown.has(number))
        .map((frame) => this.checked.path(frame));
      // Where one turns out to have changed, the others are chosen anew.
      if ((await Promise.allSettled(checks)).every(({ status }) => status === 'fulfilled')) return found;
    }
  }

  /** Where the choice of frames is uncertain, and shows; null until the focus of all frames is measured. */
  async doubtfulPlaces(): Promise<DoubtfulPlace[] | null> {
    if (this.curves.measured < this.frames.length) return null;
    const version = this.mapsVersion;
    if (this.doubtful?.version !== version) {
      const numbers = this.frames.map(({ number }) => number);
      const places = this.maps.use(async (maps) =>
        doubtfulPlaces(this.curves, await maps.open('confidence'), await maps.open('sources'), numbers),
      );
      this.doubtful = { version, places };
      places.catch(() => {
        this.doubtful = undefined;
      });
    }
    return this.doubtful.places;
  }

  /**
   * The surface of the result as it is on disk, as a .glb; made once, until the result changes.
   *
   * @throws InputError when there is none to make.
   */
  relief(): Promise<Buffer> {
    const version = this.mapsVersion;
    if (this.model?.version !== version) {
      const bytes = import('../relief/relief-model.js').then(({ reliefModel }) =>
        reliefModel(this.folder, this.record, shownTriangles),
      );
      this.model = { version, bytes };
      // What failed is tried again when it is asked for again.
      bytes.catch(() => {
        this.model = undefined;
      });
    }
    return this.model.bytes;
  }

  /**
   * Blends mends for the eye; nothing is written.
   *
   * @param signal Aborted when nobody waits for it any more.
   * @throws InputError when one cannot be applied; InterruptedError when it was given up.
   */
  async previewMends(mends: readonly Mend[], signal?: AbortSignal): Promise<Preview> {
    const startMs = performance.now();
    const key = await this.preview.blend(mends, signal);
    return { key, tookMs: Math.round(performance.now() - startMs) };
  }

  /**
   * Records mends and applies them to the result on disk. What other programs recorded since the page read the list
   * stays in it.
   *
   * @param base The list that the page began from.
   * @throws InputError, OutputError when nothing could be saved.
   */
  save(mends: readonly Mend[], base: readonly Mend[]): Promise<ResultInfo> {
    return this.inTurn(async () => {
      await editMends(
        this.folder,
        async (recorded) => {
          await this.requireSameMerge();
          return joinMends(base, mends, recorded);
        },
        { framesFrom: this.options.framesFrom },
      );
      return this.readAgain();
    });
  }

  /** As `info`, after a look at whether another program has mended the result meanwhile. */
  freshInfo(): Promise<ResultInfo> {
    return this.inTurn(async () => {
      const mark = await this.requireSameMerge();
      return mark.state === this.shown.state ? this.info() : this.readAgain();
    });
  }

  private inTurn<T>(work: () => Promise<T>): Promise<T> {
    const outcome = this.turn.then(work);
    this.turn = outcome.catch(() => undefined);
    return outcome;
  }

  private async readAgain(): Promise<ResultInfo> {
    const before = this.maps;
    await readSettled(this.folder, async (mark) => {
      this.refuseOtherMerge(mark);
      const record = await readRunRecord(this.folder);
      this.mends = await readMends(this.folder, record.size);
      this.record = record;
      this.shown = mark;
    });
    this.maps = new MapRasters(this.store, this.folder, this.record);
    this.mapsVersion++;
    if (before.isAsked) await this.maps.openAll();
    // Readers that are under way keep them open.
    void before.retire();
    return this.info();
  }

  private async requireSameMerge(): Promise<ResultMark> {
    const mark = await readResultMark(this.folder);
    if (!mark) throw new InputError(`${this.folder} is no result folder any more: it was moved or removed.`);
    this.refuseOtherMerge(mark);
    return mark;
  }

  /** The pictures that are shown come from one merge: those of another would not go with its maps. */
  private refuseOtherMerge({ merge }: ResultMark): void {
    if (merge === this.shown.merge) return;
    throw new InputError(
      `${this.folder} was merged anew since it was opened. Open it again to see the new picture.`,
    );
  }
}

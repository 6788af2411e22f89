import type { PageSize, ResultInfo, Spot } from '../protocol.js';
import { api, RefusedError } from './api.js';
import type { Camera } from './camera.js';
import { DistanceTool } from './distance-tool.js';
import { byId, choiceGroup, make } from './dom.js';
import { formatSpot } from './format-spot.js';
import { formatDepth, mmText, numberText, shareText } from './format-values.js';
import { FrameSteps } from './frame-steps.js';
import { type LayerName, legendOf } from './legend.js';
import { LitTiles } from './lit-tiles.js';
import { MeasureList } from './measure-list.js';
import { MendTool } from './mend-tool.js';
import { closeNotice, showNotice } from './notice.js';
import { Picture } from './picture.js';
import { ReliefPanel } from './relief-panel.js';
import { roundLength } from './round-length.js';
import { Ruler } from './ruler.js';
import { SectionTool } from './section-tool.js';
import { type HalfName, Split } from './split.js';
import { Spoken } from './spoken.js';
import { isSamePicture, TileCache } from './tile-cache.js';
import type { Tool, ToolName } from './tool.js';

const layers: readonly { value: LayerName; label: string }[] = [
  { value: 'composite', label: 'Composite' },
  { value: 'depth', label: 'Depth' },
  { value: 'sources', label: 'Sources' },
  { value: 'confidence', label: 'Confidence' },
  { value: 'coverage', label: 'Coverage' },
  { value: 'frame', label: 'Frame' },
];

const tools: readonly { value: ToolName; label: string }[] = [
  { value: 'look', label: 'Look' },
  { value: 'section', label: 'Section' },
  { value: 'distance', label: 'Distance' },
  { value: 'mend', label: 'Mend' },
];

/** A doubtful place takes this part of the picture's shorter side, and its pixels no more of the screen than so many. */
const seenAround = 3;
const maxPlaceScale = 4;
/** Longest scale bar, screen pixels. */
const scaleBarPx = 150;
const pollMs = 700;

let info: ResultInfo;
let layer: LayerName = 'composite';
let mendsKey = '0';
let held: [number, number] | undefined;
let isBackgroundAsked = false;

async function start(): Promise<void> {
  info = await api.result();
  document.title = `${info.name} · Lamella`;
  byId('name').textContent = info.name;
  byId('name').title = info.name;

  const tiles = new TileCache(info.size, info.tileSize, loadTile, () => {
    picture.redraw();
  });
  const lit = new LitTiles(
    info.size,
    info.tileSize,
    (level, column, row) => `tile/numbers/${level}/${column}/${row}?maps=${info.mapsKey}`,
    () => picture.redraw(),
  );
  const ruler = new Ruler(byId('ruler'), info, {
    onHold(range) {
      held = range;
      lit.hold(range);
      relief.hold(range);
      showHeldFrames();
      picture.redraw();
    },
    onShow: (number) => steps.show(number),
  });
  const steps = new FrameSteps(info, () => {
    layer = 'frame';
    showLayer();
  });

  const relief = new ReliefPanel({ info: () => info, notify: (message) => showNotice(message) });

  const canvas = byId<HTMLCanvasElement>('canvas');
  /** What was shown last: it stays until something of the next layer is there. */
  let shownLast: string | undefined;
  const picture = new Picture(canvas, info.size, {
    onSpot: (spot, radius) => askSpot(spot, radius),
    onCamera: (camera) => showScale(camera),
    paint(context, camera, screen, pixelRatio) {
      tiles.begin();
      const isComplete = paintLayers(context, camera, screen, pixelRatio);
      byId('loading').hidden = isComplete;
      const right = addressOf(rightHalf());
      const isOther = shownLast === undefined || !isSamePicture(right, shownLast);
      if (isComplete || (isOther && tiles.isBegun(right))) shownLast = right;
      if (isComplete) {
        for (const number of layer === 'frame' ? steps.next() : []) {
          tiles.readAhead(addressOf(`frame-${number}`), camera, screen, pixelRatio);
        }
      }
      tiles.end();
      lit.draw(context, camera, screen, pixelRatio);
      // What else the server has to do waits until the picture stands.
      if (isComplete && !isBackgroundAsked) {
        isBackgroundAsked = true;
        void followProgress();
      }
    },
  });

  const split = new Split(canvas, {
    info: () => info,
    right: () => rightHalf(),
    frameAtSpot: () => lastSpot?.sources?.find(([number]) => number !== 0)?.[0],
    hasMends: () => mendsKey !== '0',
    redraw: () => picture.redraw(),
  });

  function paintLayers(
    context: CanvasRenderingContext2D,
    camera: Camera,
    screen: PageSize,
    pixelRatio: number,
  ): boolean {
    const right = addressOf(rightHalf());
    if (!split.isOn) return tiles.draw(context, right, camera, screen, pixelRatio, shownLast);
    const x = split.at * screen.width;
    const half = (from: number, to: number, address: string, before?: string): boolean => {
      context.save();
      context.beginPath();
      context.rect(from, 0, to - from, screen.height);
      context.clip();
      const isComplete = tiles.draw(context, address, camera, screen, pixelRatio, before);
      context.restore();
      return isComplete;
    };
    const isLeft = half(0, x, addressOf(split.left));
    return half(x, screen.width, right, shownLast) && isLeft;
  }

  function rightHalf(): HalfName {
    return layer === 'frame' ? `frame-${steps.frame}` : layer;
  }

  /** Under which the tiles of a half are known: another state of mends or maps has another. */
  function addressOf(half: HalfName): string {
    if (half === 'composite') return `composite ${mendsKey}`;
    if (half === 'before') return 'composite 0';
    return half.startsWith('frame-') ? half : `${half} maps ${info.mapsKey}`;
  }

  async function loadTile(
    name: string,
    level: number,
    column: number,
    row: number,
    signal: AbortSignal,
  ): Promise<ImageBitmap | null> {
    const [kind, word, key] = name.split(' ');
    const query = kind === 'composite' ? `?mends=${word}` : word === 'maps' ? `?maps=${key}` : '';
    const response = await fetch(`tile/${kind}/${level}/${column}/${row}${query}`, { signal });
    if (response.ok) return createImageBitmap(await response.blob());
    if (response.status !== 404) {
      const text = await response.text();
      try {
        showNotice((JSON.parse(text) as { message: string }).message);
      } catch {
        showNotice(text);
      }
    }
    return null;
  }

  const showLayerChoice = choiceGroup(byId('layers'), layers, (value) => {
    layer = value;
    showLayer();
  });

  function showLayer(): void {
    showLayerChoice(layer);
    byId('frame-field').hidden = layer !== 'frame';
    const legend = legendOf(layer, info);
    byId('legend').hidden = legend.length === 0;
    byId('legend').replaceChildren(...legend);
    split.update();
    picture.redraw();
  }

  const host = {
    info: () => info,
    redraw: () => picture.redraw(),
    notify: (message: string) => showNotice(message),
    showMends(key: string) {
      mendsKey = key;
      split.update();
    },
    saved(now: ResultInfo) {
      info = now;
      lit.forget();
      ruler.take(now);
      relief.refresh();
      showLayer();
    },
    lookAt(x: number, y: number, sidePx?: number) {
      const { width, height } = picture.screen;
      const scale = sidePx === undefined ? undefined : Math.min(width, height) / (seenAround * sidePx);
      picture.lookAt(x, y, scale && Math.min(maxPlaceScale, scale));
    },
    camera: () => picture.camera,
  };
  const mendTool = new MendTool(host);
  const kept = new MeasureList(host);
  const hand: Record<ToolName, Tool | undefined> = {
    look: undefined,
    section: new SectionTool(host, kept),
    distance: new DistanceTool(host, kept),
    mend: mendTool,
  };
  const panel = byId('panel');
  const showTool = choiceGroup(byId('tools'), tools, takeTool);

  function takeTool(name: ToolName): void {
    picture.tool?.close();
    picture.tool = hand[name];
    showTool(name);
    panel.replaceChildren();
    panel.hidden = name === 'look';
    panel.dataset.tool = name;
    panel.setAttribute('aria-label', tools.find(({ value }) => value === name)?.label ?? '');
    if (name === 'mend' && layer !== 'composite') {
      layer = 'composite';
      showLayer();
    }
    picture.tool?.open(panel);
    picture.redraw();
  }

  const spoken = new Spoken((text) => {
    byId('readout-spoken').textContent = text;
  });

  /** For the eye at once; for those who listen, what stays. */
  function showReadout(text: string): void {
    byId('readout-now').textContent = text;
    spoken.say(text);
  }

  let lastSpot: Spot | undefined;
  let spotWanted: { spot: [number, number]; radius: number } | undefined;
  let isAsking = false;

  /** One question at a time: the latest position is asked next. */
  function askSpot(spot: [number, number] | undefined, radius: number): void {
    if (!spot) {
      spotWanted = undefined;
      ruler.showSpot({ sources: [], curve: undefined, depth: undefined });
      showReadout('');
      return;
    }
    spotWanted = { spot, radius };
    if (!isAsking) void nextSpot();
  }

  async function nextSpot(): Promise<void> {
    isAsking = true;
    while (spotWanted) {
      const { spot, radius } = spotWanted;
      spotWanted = undefined;
      try {
        showSpot(await api.spot(...spot, radius));
      } catch (error) {
        if (error instanceof RefusedError) showNotice(error.message);
        else throw error;
      }
    }
    isAsking = false;
  }

  function showSpot(spot: Spot): void {
    lastSpot = spot;
    showReadout(formatSpot(spot, info));
    ruler.showSpot({ sources: spot.sources ?? [], curve: spot.curve, depth: spot.depth });
  }

  function showHeldFrames(): void {
    const note = byId('rail-note');
    const range = held;
    if (!range) {
      note.textContent =
        'Point at the picture to see its frames and focus curve. Press a tick, or drag over several, to light what they supplied; double-click to see the frame.';
      return;
    }
    const inside = info.frames.filter(({ number }) => number >= range[0] && number <= range[1]);
    const share = inside.reduce((sum, { sharePercent }) => sum + sharePercent, 0);
    const single = inside.length === 1 ? inside[0] : undefined;
    const who = single ? `Frame ${single.number}, ${single.name}` : `Frames ${range[0]} to ${range[1]}`;
    const depths = inside.flatMap(({ depth }) => (depth === null ? [] : [depth]));
    const span =
      depths.length === 0
        ? ''
        : single
          ? ` at ${formatDepth(depths[0], info.unit)}`
          : ` from ${formatDepth(Math.min(...depths), info.unit)} to ${formatDepth(Math.max(...depths), info.unit)}`;
    note.replaceChildren(make('b', {}, who), `${span}: ${shareText(share)} of the picture, lit.`);
  }

  function showScale(camera: Camera): void {
    byId('zoom-text').textContent = `${numberText(100 * camera.scale * devicePixelRatio, 0)} %`;
    const side = info.mmPerPixel;
    const perScreen = (side ?? 1) / camera.scale;
    const length = roundLength(scaleBarPx * perScreen);
    byId('scale-line').style.width = `${length / perScreen}px`;
    const text = side === null ? `${numberText(length, length < 1 ? 2 : 0)} px` : mmText(length);
    byId('scale-text').textContent = side === null ? text : `${text} at the anchor's plane`;
  }

  byId('zoom-in').addEventListener('click', () => picture.zoom(1.5));
  byId('zoom-out').addEventListener('click', () => picture.zoom(1 / 1.5));
  byId('zoom-fit').addEventListener('click', () => picture.fit());
  byId('zoom-pixels').addEventListener('click', () => picture.zoomToPixels());
  byId('notice-close').addEventListener('click', () => {
    closeNotice();
    canvas.focus();
  });
  const help = byId<HTMLDialogElement>('help-text');
  byId('help').addEventListener('click', () => help.showModal());
  canvas.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = { '[': -1, ']': 1 }[event.key];
    const place = ({ n: 1, p: -1 } as const)[event.key.toLowerCase()];
    if (step !== undefined) steps.step(step);
    else if (place !== undefined) {
      if (picture.tool !== mendTool) takeTool('mend');
      mendTool.step(place);
    } else if (event.key === 'Escape' && held) ruler.hold(undefined);
  });
  document.addEventListener('keydown', (event) => {
    if (!(event.ctrlKey || event.metaKey)) return;
    // In a field of text undo is the field's own.
    if (event.target instanceof HTMLInputElement && event.target.type === 'text' && event.key !== 's') return;
    if (picture.tool === mendTool && mendTool.command(event.key.toLowerCase(), event.shiftKey))
      event.preventDefault();
  });

  async function followProgress(): Promise<void> {
    for (;;) {
      const { measured, frames, mapsReady, problem } = await api.progress();
      const text = !mapsReady
        ? 'opening the maps'
        : measured < frames
          ? `focus measured: ${measured} of ${frames}`
          : '';
      byId('progress').textContent = problem === null ? text : '';
      if (problem !== null) showNotice(problem);
      if (problem !== null || text === '') return;
      await new Promise((resolve) => setTimeout(resolve, pollMs));
    }
  }

  takeTool('look');
  showLayer();
  showHeldFrames();
  const [first, ...others] = info.warnings;
  const more = others.length === 1 ? ' One more warning is' : ` ${others.length} more warnings are`;
  if (first !== undefined) showNotice(others.length > 0 ? `${first}${more} in report.html.` : first, true);
  document.body.dataset.ready = 'true';
}

start().catch((error: unknown) => {
  byId('name').textContent = 'Lamella';
  showNotice(error instanceof Error ? error.message : String(error), true);
});

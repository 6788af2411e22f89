import type { PageSize } from '../protocol.js';
import { type Camera, fitCamera, keepInSight, toPicture, zoomAt } from './camera.js';
import type { Tool } from './tool.js';

export interface PictureEvents {
  /** What is under the pointer, or under the cross when keys are used, in whole pixels; undefined when nothing is. */
  onSpot(spot: [number, number] | undefined, radius: number): void;
  onCamera(camera: Camera): void;
  paint(context: CanvasRenderingContext2D, camera: Camera, screen: PageSize, pixelRatio: number): void;
}

const panFraction = 0.12;
const zoomStep = 1.25;
/** Screen pixels about the pointer that count as pointed at. */
const spotRadius = 4;
/** Screen pixels that a pressed pointer may stray and still click; a finger moves more. */
const clickSlop = { mouse: 4, touch: 10 } as const;

/** The canvas with its camera: moves and zooms by mouse, touch and keys, and hands the rest to the tool. */
export class Picture {
  camera: Camera = { scale: 1, x: 0, y: 0 };
  screen: PageSize = { width: 1, height: 1 };
  tool: Tool | undefined;
  private readonly context: CanvasRenderingContext2D;
  private readonly pointers = new Map<number, [number, number]>();
  private mode: 'none' | 'pan' | 'tool' | 'pinch' = 'none';
  /** Where a press began that may yet be a click, in screen pixels; undefined once it has become a drag. */
  private pressedAt: [number, number] | undefined;
  private isDue = false;
  private isFitted = true;
  /** Size of the window, and position of the canvas in it, when the canvas last changed its size. */
  private settled: { window: string; left: number; top: number } | undefined;
  private surround = '';
  private isSpaceHeld = false;
  private usesKeys = false;

  constructor(
    private readonly canvas: HTMLCanvasElement,
    private readonly size: PageSize,
    private readonly events: PictureEvents,
  ) {
    const context = canvas.getContext('2d', { alpha: false });
    if (!context) throw new Error('This browser has no canvas');
    this.context = context;
    new ResizeObserver(() => this.resize()).observe(canvas);
    const readSurround = (): void => {
      this.surround = getComputedStyle(canvas).getPropertyValue('--surround');
      this.redraw();
    };
    matchMedia('(prefers-color-scheme: light)').addEventListener('change', readSurround);
    readSurround();
    canvas.addEventListener('pointerdown', (event) => this.pointerDown(event));
    canvas.addEventListener('pointermove', (event) => this.pointerMove(event));
    for (const name of ['pointerup', 'pointercancel'] as const) {
      canvas.addEventListener(name, (event) => this.pointerUp(event));
    }
    canvas.addEventListener('pointerleave', () => {
      if (this.usesKeys) return;
      events.onSpot(undefined, 0);
      this.tool?.leave?.();
      this.redraw();
    });
    canvas.addEventListener('contextmenu', (event) => event.preventDefault());
    canvas.addEventListener(
      'wheel',
      (event) => {
        event.preventDefault();
        const lines = event.deltaMode === 1 ? event.deltaY * 16 : event.deltaY;
        this.zoom(2 ** (-lines / 240), event.offsetX, event.offsetY);
      },
      { passive: false },
    );
    canvas.addEventListener('keydown', (event) => this.keyDown(event));
    canvas.addEventListener('keyup', (event) => {
      if (event.key === ' ') this.isSpaceHeld = false;
    });
    canvas.addEventListener('blur', () => {
      this.isSpaceHeld = false;
      this.usesKeys = false;
      this.redraw();
    });
  }

  /** Draws at the next frame of the screen, once however often it is asked. */
  redraw(): void {
    if (this.isDue) return;
    this.isDue = true;
    requestAnimationFrame(() => {
      this.isDue = false;
      this.draw();
    });
  }

  fit(): void {
    this.isFitted = true;
    this.moveTo(fitCamera(this.size, this.screen));
  }

  zoom(factor: number, x = this.screen.width / 2, y = this.screen.height / 2): void {
    this.isFitted = false;
    this.moveTo(zoomAt(this.camera, factor, x, y, this.size, this.screen));
  }

  /** One composite pixel to one pixel of the screen, about the middle. */
  zoomToPixels(): void {
    this.zoom(1 / devicePixelRatio / this.camera.scale);
  }

  /** Brings a point of the picture into the middle. */
  lookAt(x: number, y: number, scale = this.camera.scale): void {
    this.isFitted = false;
    const { width, height } = this.screen;
    const camera = { scale, x: width / 2 - x * scale, y: height / 2 - y * scale };
    this.moveTo(keepInSight(camera, this.size, this.screen));
  }

  private moveTo(camera: Camera): void {
    this.camera = camera;
    this.events.onCamera(camera);
    if (this.usesKeys) this.reportSpot(this.screen.width / 2, this.screen.height / 2);
    this.redraw();
  }

  private pan(dx: number, dy: number): void {
    this.isFitted = false;
    const { scale, x, y } = this.camera;
    this.moveTo(keepInSight({ scale, x: x + dx, y: y + dy }, this.size, this.screen));
  }

  private resize(): void {
    const { clientWidth: width, clientHeight: height } = this.canvas;
    if (width === 0 || height === 0) return;
    const { width: oldWidth, height: oldHeight } = this.screen;
    this.screen = { width, height };
    this.canvas.width = Math.round(width * devicePixelRatio);
    this.canvas.height = Math.round(height * devicePixelRatio);
    const { left, top } = this.canvas.getBoundingClientRect();
    const window = `${innerWidth} ${innerHeight} ${devicePixelRatio}`;
    const before = this.settled;
    this.settled = { window, left, top };
    if (before?.window === window) {
      // A panel opened, grew or closed: the picture stays where it is, under it if need be.
      const { scale, x, y } = this.camera;
      this.moveTo({ scale, x: x + before.left - left, y: y + before.top - top });
    } else if (this.isFitted) {
      this.fit();
    } else {
      this.pan((width - oldWidth) / 2, (height - oldHeight) / 2);
    }
    this.draw();
  }

  private draw(): void {
    const { context, camera, screen } = this;
    context.setTransform(devicePixelRatio, 0, 0, devicePixelRatio, 0, 0);
    context.fillStyle = this.surround;
    context.fillRect(0, 0, screen.width, screen.height);
    this.events.paint(context, camera, screen, devicePixelRatio);
    this.tool?.draw(context, camera);
    if (this.usesKeys) this.drawCross();
  }

  private drawCross(): void {
    const { context } = this;
    const x = this.screen.width / 2;
    const y = this.screen.height / 2;
    for (const [width, colour] of [
      [4, '#000'],
      [2, '#fff'],
    ] as const) {
      context.lineWidth = width;
      context.strokeStyle = colour;
      context.beginPath();
      for (const [dx, dy] of [
        [1, 0],
        [-1, 0],
        [0, 1],
        [0, -1],
      ]) {
        context.moveTo(x + dx * 4, y + dy * 4);
        context.lineTo(x + dx * 14, y + dy * 14);
      }
      context.stroke();
    }
  }

  private reportSpot(screenX: number, screenY: number): void {
    const [x, y] = toPicture(this.camera, screenX, screenY).map(Math.round);
    const isInside = x >= 0 && y >= 0 && x < this.size.width && y < this.size.height;
    this.events.onSpot(isInside ? [x, y] : undefined, Math.round(spotRadius / this.camera.scale));
  }

  private pointerDown(event: PointerEvent): void {
    this.canvas.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, [event.offsetX, event.offsetY]);
    this.usesKeys = false;
    if (this.pointers.size === 2) {
      this.endTool();
      this.mode = 'pinch';
      return;
    }
    const wantsPan = event.button !== 0 || this.isSpaceHeld;
    this.mode = !wantsPan && this.tool ? 'tool' : 'pan';
    this.pressedAt = [event.offsetX, event.offsetY];
    this.redraw();
  }

  private pointerMove(event: PointerEvent): void {
    const before = this.pointers.get(event.pointerId);
    this.usesKeys = false;
    if (!before) {
      if (this.tool?.hover(...toPicture(this.camera, event.offsetX, event.offsetY))) this.redraw();
      this.reportSpot(event.offsetX, event.offsetY);
      return;
    }
    if (this.mode === 'tool') this.tool?.hover(...toPicture(this.camera, event.offsetX, event.offsetY));
    const now: [number, number] = [event.offsetX, event.offsetY];
    if (this.mode === 'pinch') this.pinch(event.pointerId, before, now);
    this.pointers.set(event.pointerId, now);
    if (this.mode === 'pan') this.pan(now[0] - before[0], now[1] - before[1]);
    if (this.mode === 'tool') this.dragTool(event);
    this.reportSpot(event.offsetX, event.offsetY);
  }

  private dragTool(event: PointerEvent): void {
    if (this.pressedAt) {
      const [x, y] = this.pressedAt;
      const slop = event.pointerType === 'mouse' ? clickSlop.mouse : clickSlop.touch;
      if (Math.hypot(event.offsetX - x, event.offsetY - y) < slop) return;
      this.pressedAt = undefined;
      this.tool?.press(...toPicture(this.camera, x, y));
    }
    // Browsers join movements of one frame; a freehand line wants them all.
    const events = event.getCoalescedEvents?.() ?? [];
    for (const { offsetX, offsetY } of events.length > 0 ? events : [event]) {
      this.tool?.drag(...toPicture(this.camera, offsetX, offsetY));
    }
    this.redraw();
  }

  /** A drag that was begun with a tool comes to nothing; a press that was none yet leaves no trace. */
  private endTool(): void {
    if (this.mode === 'tool' && !this.pressedAt) this.tool?.key('Escape');
  }

  private pinch(id: number, before: [number, number], now: [number, number]): void {
    const other = [...this.pointers].find(([pointer]) => pointer !== id)?.[1];
    if (!other) return;
    const apart = ([x, y]: [number, number]) => Math.max(8, Math.hypot(x - other[0], y - other[1]));
    this.pan((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    this.zoom(apart(now) / apart(before), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
  }

  private pointerUp(event: PointerEvent): void {
    if (!this.pointers.delete(event.pointerId)) return;
    const point = toPicture(this.camera, event.offsetX, event.offsetY);
    if (event.type === 'pointercancel') this.endTool();
    else if (this.mode === 'tool' && this.pressedAt) this.tool?.set(...point);
    else if (this.mode === 'tool') this.tool?.release(...point);
    if (this.pointers.size === 0) this.mode = 'none';
    this.redraw();
  }

  private keyDown(event: KeyboardEvent): void {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (this.takeKey(event.key, event.shiftKey)) event.preventDefault();
  }

  private takeKey(key: string, isShift: boolean): boolean {
    const { width, height } = this.screen;
    const [dx, dy] = isShift
      ? [this.camera.scale, this.camera.scale]
      : [width * panFraction, height * panFraction];
    const moves: Record<string, (() => void) | undefined> = {
      ArrowLeft: () => this.pan(dx, 0),
      ArrowRight: () => this.pan(-dx, 0),
      ArrowUp: () => this.pan(0, dy),
      ArrowDown: () => this.pan(0, -dy),
      '+': () => this.zoom(zoomStep),
      '=': () => this.zoom(zoomStep),
      '-': () => this.zoom(1 / zoomStep),
      '0': () => this.fit(),
      '1': () => this.zoomToPixels(),
    };
    const move = moves[key];
    if (key === ' ') {
      this.isSpaceHeld = true;
      return true;
    }
    if (move) {
      this.usesKeys = true;
      move();
      this.tool?.hover(...toPicture(this.camera, width / 2, height / 2));
      this.reportSpot(width / 2, height / 2);
      return true;
    }
    if (key === 'Enter') {
      this.usesKeys = true;
      this.tool?.set(...toPicture(this.camera, width / 2, height / 2));
      this.redraw();
      return true;
    }
    const isTaken = this.tool?.key(key) ?? false;
    if (isTaken) this.redraw();
    return isTaken;
  }
}

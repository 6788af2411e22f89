import type { Camera } from './camera.js';

export type ToolName = 'look' | 'section' | 'distance' | 'mend';

/** What the hand holds; points are in composite pixels, fractional. */
export interface Tool {
  readonly name: ToolName;
  /** Fills the panel below the picture. */
  open(panel: HTMLElement): void;
  close(): void;
  /** A drag begins, goes on and ends. */
  press(x: number, y: number): void;
  drag(x: number, y: number): void;
  release(x: number, y: number): void;
  /** A point set by a click, a tap, or by key at the cross. */
  set(x: number, y: number): void;
  /** The pointer, or the cross, is over this point: true when the tool shows something there. */
  hover(x: number, y: number): boolean;
  /** The pointer has left the picture. */
  leave?(): void;
  /** A key the picture did not take; true when the tool did. */
  key(key: string): boolean;
  draw(context: CanvasRenderingContext2D, camera: Camera): void;
}

import type { Camera } from './camera.js';

export type ToolName = 'look' | 'section' | 'distance' | 'mend';

/** What the hand holds; points are in composite pixels, fractional. */
export interface Tool {
  readonly name: ToolName;
  /** Fills the bench below the picture; undefined when the tool needs none. */
  open(bench: HTMLElement): void;
  close(): void;
  /** The pointer goes down: true when the tool takes the drag, else it moves the picture. */
  press(x: number, y: number): boolean;
  drag(x: number, y: number): void;
  release(x: number, y: number): void;
  /** A point set at the cross by key. */
  set(x: number, y: number): void;
  /** A key the picture did not take; true when the tool did. */
  key(key: string): boolean;
  draw(context: CanvasRenderingContext2D, camera: Camera): void;
}

import { clampBrushPx, maxBrushPx, minBrushPx, nextBrushPx, usualBrushPx } from './brush.js';
import type { Camera } from './camera.js';
import { choiceGroup, make } from './dom.js';
import type { DrawnKind, OutlineDrawing } from './outline-drawing.js';

const kinds: readonly { value: DrawnKind; label: string }[] = [
  { value: 'outline', label: 'Outline' },
  { value: 'brush', label: 'Brush' },
];

/** Outline or brush, and the width of the brush. */
export class DrawChoice {
  private readonly width = make('input', {
    type: 'number',
    min: minBrushPx,
    max: maxBrushPx,
    step: 0.5,
    'data-key': 'brush-width',
  });
  private readonly field = make('label', { class: 'field', hidden: true }, 'width', this.width, 'px');
  private readonly showKind: (kind: DrawnKind) => void;
  /** To be put into a panel. */
  readonly element: HTMLElement;

  constructor(
    private readonly drawing: OutlineDrawing,
    private readonly camera: () => Camera,
    private readonly onChange: () => void,
  ) {
    const choices = make('div', { class: 'choices', role: 'radiogroup', 'aria-label': 'Drawn by' });
    this.showKind = choiceGroup(choices, kinds, (kind) => this.take(kind));
    this.showKind(drawing.kind);
    this.width.addEventListener('change', () => this.setWidth(Number(this.width.value) || 0));
    this.element = make('div', { class: 'row' }, choices, this.field);
  }

  take(kind: DrawnKind): void {
    const { drawing } = this;
    // What stands stays; what is on its way would change its meaning.
    if (!drawing.region) drawing.clear();
    drawing.kind = kind;
    if (kind === 'brush' && drawing.widthPx === 0) this.setWidth(usualBrushPx(this.camera()));
    this.field.hidden = kind !== 'brush';
    this.showKind(kind);
    this.onChange();
  }

  /** True when the key is one of these: B changes what draws, comma and full stop the width. */
  key(key: string): boolean {
    const isBrush = this.drawing.kind === 'brush';
    if (key === 'b' || key === 'B') this.take(isBrush ? 'outline' : 'brush');
    else if (isBrush && (key === ',' || key === '.'))
      this.setWidth(nextBrushPx(this.drawing.widthPx, key === '.' ? 1 : -1));
    else return false;
    return true;
  }

  private setWidth(widthPx: number): void {
    this.drawing.widthPx = clampBrushPx(widthPx);
    this.width.value = String(this.drawing.widthPx);
    this.onChange();
  }
}

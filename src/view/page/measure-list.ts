import type { KeptMeasure, PageMeasure, PageMeasureRequest } from '../protocol.js';
import { api, RefusedError } from './api.js';
import { type Camera, toScreen } from './camera.js';
import { make } from './dom.js';
import { ring, strokeTwice, type ToolHost } from './line-tools.js';
import { keyButton } from './mend-parts.js';

export interface MeasureHost extends ToolHost {
  lookAt(x: number, y: number): void;
}

/** What was measured, value by value, and how far to trust it. */
export function quantityList({ quantities, remarks }: PageMeasure): HTMLElement[] {
  const rows = quantities.flatMap(({ name, text }) => [make('dt', {}, name), make('dd', {}, text)]);
  return [
    make('dl', { class: 'quantities' }, ...rows),
    ...remarks.map((remark) => make('p', { class: 'remark' }, remark)),
  ];
}

/** The measures that are kept with the result, as `lamella measure` keeps them. */
export class MeasureList {
  readonly element = make('div', {});
  private measures: readonly KeptMeasure[] = [];
  /** One change after the other: each answer is the whole list. */
  private turn: Promise<unknown> = Promise.resolve();

  constructor(private readonly host: MeasureHost) {}

  /** Reads the list anew: another program may have changed it. */
  open(): void {
    void this.change(() => api.measures());
  }

  /** A field for a note, and a button that keeps what is measured. */
  keeper(request: () => Omit<PageMeasureRequest, 'note'>): HTMLElement {
    const note = make('input', {
      type: 'text',
      maxlength: 1000,
      placeholder: 'note',
      'aria-label': 'Note on the measure',
      'data-key': 'measure-note',
    });
    const keep = keyButton('Keep', 'keep-measure', () => {
      keep.disabled = true;
      void this.change(() => api.keepMeasure({ ...request(), note: note.value })).then((isDone) => {
        if (!isDone) keep.disabled = false;
      });
    });
    keep.classList.add('main');
    return make('div', { class: 'row keeper' }, note, keep);
  }

  /** Lines of what is kept, over the picture. */
  draw(context: CanvasRenderingContext2D, camera: Camera): void {
    for (const { points } of this.measures) {
      if (!points) continue;
      const corners = points.map(([x, y]) => toScreen(camera, x, y));
      strokeTwice(
        context,
        () => {
          corners.forEach(([x, y], i) => {
            if (i === 0) context.moveTo(x, y);
            else context.lineTo(x, y);
          });
        },
        '#c9c9c9',
      );
      for (const [x, y] of corners) strokeTwice(context, () => ring(context, x, y, 3), '#c9c9c9');
    }
  }

  private change(work: () => Promise<{ measures: KeptMeasure[] }>): Promise<boolean> {
    const outcome = this.turn.then(() => this.changeNow(work));
    this.turn = outcome.catch(() => undefined);
    return outcome;
  }

  /** Whether it could be done. */
  private async changeNow(work: () => Promise<{ measures: KeptMeasure[] }>): Promise<boolean> {
    try {
      this.measures = (await work()).measures;
      this.fill();
      this.host.redraw();
      return true;
    } catch (error) {
      if (!(error instanceof RefusedError)) throw error;
      this.host.notify(error.message);
      return false;
    }
  }

  private fill(): void {
    const { measures, element } = this;
    if (measures.length === 0) {
      element.replaceChildren();
      return;
    }
    const items = measures.map((measure) => this.item(measure));
    element.replaceChildren(make('ul', { class: 'mends', 'aria-label': 'Kept measures' }, ...items));
  }

  private item(measure: KeptMeasure): HTMLElement {
    const { id, kind, note, quantities, isOutdated } = measure;
    const last = [...quantities].reverse().find(({ isKnown }) => isKnown);
    const value = last ? `${last.name} ${last.text}` : 'cannot be known';
    const find = keyButton('Find', `find-measure-${id}`, () => this.host.lookAt(...measure.middle));
    find.setAttribute('aria-label', `Find measure ${id}`);
    const drop = keyButton('Remove', `drop-measure-${id}`, () => void this.change(() => api.dropMeasure(id)));
    drop.setAttribute('aria-label', `Remove measure ${id}`);
    const what = `${id} · ${kind}${note === '' ? '' : ` · ${note}`}: ${value}`;
    return make(
      'li',
      { 'data-measure': id },
      make('span', { class: 'what' }, what, ...(isOutdated ? [make('small', {}, ' (before a mend)')] : [])),
      find,
      drop,
    );
  }
}

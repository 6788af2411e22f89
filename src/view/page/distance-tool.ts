import type { PageMeasure } from '../protocol.js';
import { api, RefusedError } from './api.js';
import { make } from './dom.js';
import { LineTool, type Point } from './line-tools.js';
import { quantityList } from './measure-list.js';

/** Measures between two points as `lamella measure --distance` does, and keeps it with the result. */
export class DistanceTool extends LineTool {
  readonly name = 'distance';

  protected show(): void {
    const { panel, points } = this;
    if (!panel) return;
    if (points.length < 2) {
      const ask =
        points.length === 0
          ? 'Click at both points, drag from one to the other, or set each with Enter.'
          : 'Set the second point.';
      panel.replaceChildren(make('p', {}, ask), this.kept.element);
      return;
    }
    void this.measure(points[0], points[1]);
  }

  private async measure(from: Point, to: Point): Promise<void> {
    try {
      const found = await api.distance(...from, ...to);
      const [first, second] = this.points;
      // Other points were set meanwhile.
      if (first !== from || second !== to) return;
      this.panel?.replaceChildren(
        make('p', { id: 'distance-main' }, make('b', {}, mainText(found))),
        ...quantityList(found),
        this.kept.keeper(() => ({ kind: 'distance', points: [from, to] })),
        this.kept.element,
      );
    } catch (error) {
      if (error instanceof RefusedError) this.host.notify(error.message);
      else throw error;
    }
  }
}

/** The last that is known: in space, else across, else in the picture. */
function mainText({ quantities }: PageMeasure): string {
  const known = (name: string) => quantities.find((found) => found.name === name && found.isKnown);
  const best =
    known('distance in space') ??
    known('distance across') ??
    known('distance in the picture') ??
    quantities[0];
  return `${best.name[0].toUpperCase()}${best.name.slice(1)} ${best.text}`;
}

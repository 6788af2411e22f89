import type { DoubtfulPlace } from '../protocol.js';
import { api, RefusedError } from './api.js';
import { make } from './dom.js';
import { numberText } from './format-values.js';
import { keyButton } from './mend-parts.js';

const askAgainMs = 1000;

export interface DoubtfulHost {
  /** Goes to a place and proposes it as a region. */
  onPlace(place: DoubtfulPlace): void;
  notify(message: string): void;
}

/** Steps through the places where the choice of frames is uncertain and shows, the gravest first. */
export class DoubtfulSteps {
  /** Buttons and words, to be put into a panel. */
  readonly element: HTMLElement;
  private places: readonly DoubtfulPlace[] | undefined;
  /** Of the place that was gone to last; -1 before the first. */
  private at = -1;
  /** The place that was gone to last, while it is on the list. */
  private shown: DoubtfulPlace | undefined;
  private isAsking = false;
  /** A step that was asked for before the list was there. */
  private wanted: 1 | -1 | undefined;
  private readonly text = make('p', { class: 'doubtful-text', role: 'status' });
  private readonly before = keyButton('\u25c2', 'doubtful-before', () => this.step(-1));
  private readonly next = keyButton('\u25b8', 'doubtful-next', () => this.step(1));

  constructor(private readonly host: DoubtfulHost) {
    this.before.setAttribute('aria-label', 'Doubtful place before');
    this.next.setAttribute('aria-label', 'Next doubtful place');
    this.element = make(
      'div',
      { class: 'doubtful', role: 'group', 'aria-label': 'Doubtful places' },
      this.before,
      this.next,
      this.text,
    );
    this.show();
  }

  /** Asks for the list, until the focus of all frames is measured. */
  async load(): Promise<void> {
    if (this.places || this.isAsking) return;
    this.isAsking = true;
    try {
      for (;;) {
        const { places } = await api.doubtful();
        if (places) {
          this.at = positionAmong(places, this.shown, this.at);
          if (!isSame(places[this.at], this.shown)) this.shown = undefined;
          this.places = places;
          break;
        }
        await new Promise((resolve) => setTimeout(resolve, askAgainMs));
      }
    } catch (error) {
      this.wanted = undefined;
      if (!(error instanceof RefusedError)) throw error;
      this.host.notify(error.message);
    } finally {
      this.isAsking = false;
      this.show();
    }
    const { wanted } = this;
    this.wanted = undefined;
    if (wanted !== undefined) this.step(wanted);
  }

  /** The result has changed: what was mended is decided now. */
  forget(): void {
    this.places = undefined;
    void this.load();
  }

  /** To the next place, or the one before; round at the ends. */
  step(direction: 1 | -1): void {
    const { places } = this;
    if (!places) {
      this.wanted = direction;
      void this.load();
      return;
    }
    if (places.length === 0) return;
    const from = this.at < 0 && direction < 0 ? 0 : this.at;
    this.at = (from + direction + places.length) % places.length;
    this.shown = places[this.at];
    this.show();
    this.host.onPlace(this.shown);
  }

  private show(): void {
    const { places, at, shown: place } = this;
    const count = places?.length ?? 0;
    this.before.disabled = count === 0;
    this.next.disabled = count === 0;
    this.text.textContent =
      place && places
        ? `Doubtful place ${at + 1} of ${count}: confidence ${numberText(place.confidence, 2)}; another choice changes up to ${numberText(place.contrast, 0)} of 255 levels.`
        : places === undefined
          ? 'Doubtful places: the focus of the frames is still being measured.'
          : count === 0
            ? 'No doubtful places: wherever detail shows, the choice of frames is certain.'
            : `${count} doubtful ${count === 1 ? 'place' : 'places'}: N goes to the next, P to the one before.`;
  }
}

/** From where to go on among places that were listed anew: where the last one was, or would be next if it is decided now. */
export function positionAmong(
  places: readonly DoubtfulPlace[],
  last: DoubtfulPlace | undefined,
  at: number,
): number {
  if (!last) return Math.min(at, places.length - 1);
  const same = places.findIndex((place) => isSame(place, last));
  return same >= 0 ? same : Math.min(at, places.length) - 1;
}

function isSame(first: DoubtfulPlace | undefined, second: DoubtfulPlace | undefined): boolean {
  return JSON.stringify(first?.region) === JSON.stringify(second?.region);
}

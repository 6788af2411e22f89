import type { Candidates, PageMend, ResultInfo } from '../protocol.js';
import { make } from './dom.js';
import { formatDepth, shareText } from './format-values.js';
import { cornersOf } from './outline-drawing.js';

/** A button that is found again by its key after the panel was filled anew. */
export function keyButton(label: string, key: string, onPress: () => void): HTMLButtonElement {
  const button = make('button', { type: 'button', 'data-key': key }, label);
  button.addEventListener('click', onPress);
  return button;
}

/** The region as it was merged, and in the frames that are sharp there, to choose from. */
export function cropCards(
  candidates: Candidates,
  info: ResultInfo,
  chosen: number | undefined,
  onChoose: (frame: number) => void,
): HTMLElement {
  const holder = make('div', { class: 'crops', role: 'group', 'aria-label': 'Sharpest frames here' });
  const { crop } = candidates;
  const cropOf = (frame: number) =>
    `crop?frame=${frame}&x=${crop.x}&y=${crop.y}&width=${crop.width}&height=${crop.height}`;
  holder.append(
    make('div', { class: 'crop' }, make('img', { alt: '', src: cropOf(0) }), make('span', {}, 'merged')),
  );
  for (const { number, sharePercent } of candidates.frames) {
    const frame = info.frames.find((known) => known.number === number);
    const depth = frame?.depth ?? null;
    const depthLabel = depth === null ? '' : `${formatDepth(depth, info.unit)} · `;
    const button = keyButton('', `crop-${number}`, () => onChoose(number));
    button.className = 'crop';
    button.setAttribute('aria-pressed', String(number === chosen));
    button.dataset.frame = String(number);
    button.append(
      make('img', { alt: '', src: cropOf(number) }),
      make('span', { class: 'who' }, `frame ${number}`),
      make('small', { class: 'file' }, frame?.name ?? ''),
      make('small', {}, `${depthLabel}${shareText(sharePercent)} of it`),
    );
    holder.append(button);
  }
  return holder;
}

/** Any frame that shows all of the region to choose from, sharp there or not. */
export function frameSelect(
  { possible }: Candidates,
  info: ResultInfo,
  chosen: number | undefined,
  onChoose: (frame: number) => void,
): HTMLElement {
  const select = make('select', { 'aria-label': 'Any frame', 'data-key': 'any-frame' });
  select.append(make('option', { value: '', disabled: true, selected: chosen === undefined }, 'any frame'));
  for (const { number, name } of info.frames) {
    if (!possible.includes(number)) continue;
    select.append(
      make('option', { value: number, selected: number === chosen }, `frame ${number} · ${name}`),
    );
  }
  select.addEventListener('change', () => onChoose(Number(select.value)));
  return select;
}

/** A mend on the list. */
export function mendItem(
  mend: PageMend,
  events: {
    onKeep(kept: boolean): void;
    onNote(note: string): void;
    onFind(x: number, y: number): void;
  },
): HTMLElement {
  const keep = make('input', {
    type: 'checkbox',
    checked: mend.kept,
    'aria-label': `Keep mend ${mend.id}`,
    'data-key': `keep-${mend.id}`,
  });
  keep.addEventListener('change', () => events.onKeep(keep.checked));
  const note = make('input', {
    type: 'text',
    value: mend.note,
    maxlength: 1000,
    placeholder: 'note',
    'aria-label': `Note on mend ${mend.id}`,
    'data-key': `note-${mend.id}`,
  });
  // Not when it is left: then the press that leaves it would come before the change.
  note.addEventListener('input', () => events.onNote(note.value));
  const find = keyButton('Find', `find-${mend.id}`, () => {
    const corners = cornersOf(mend.region);
    const middle = (axis: 0 | 1) => {
      const values = corners.map((corner) => corner[axis]);
      return (Math.min(...values) + Math.max(...values)) / 2;
    };
    events.onFind(middle(0), middle(1));
  });
  find.setAttribute('aria-label', `Find mend ${mend.id}`);
  const what = `${mend.id} · frame ${mend.frame}${mend.kept ? '' : ' (dropped)'}`;
  return make(
    'li',
    { class: mend.kept ? '' : 'dropped', 'data-mend': mend.id },
    keep,
    make('span', { class: 'what' }, what),
    note,
    find,
  );
}

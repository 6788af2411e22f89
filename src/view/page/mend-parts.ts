import type { Candidates, PageMend, ResultInfo } from '../protocol.js';
import { make } from './dom.js';
import type { Corner } from './outline.js';
import { depthWords, shareText } from './words.js';

/** A button that is found again by its key after the bench was filled anew. */
export function keyButton(label: string, key: string, onPress: () => void): HTMLButtonElement {
  const button = make('button', { type: 'button', 'data-key': key }, label);
  button.addEventListener('click', onPress);
  return button;
}

export function cornersOf(region: PageMend['region']): Corner[] {
  if (region.kind === 'polygon') return region.points;
  const { x, y, width, height } = region;
  const [left, top, right, bottom] = [x - 0.5, y - 0.5, x + width - 0.5, y + height - 0.5];
  return [
    [left, top],
    [right, top],
    [right, bottom],
    [left, bottom],
  ];
}

/** The region as it was merged, and in the frames that are sharp there, to choose from. */
export function cropCards(
  candidates: Candidates | undefined,
  info: ResultInfo,
  chosen: number | undefined,
  onChoose: (frame: number) => void,
): HTMLElement {
  const holder = make('div', { class: 'crops', role: 'group', 'aria-label': 'Sharpest frames here' });
  if (!candidates) {
    holder.append(make('p', {}, 'Looking for the frames that are sharp here ...'));
    return holder;
  }
  const { crop } = candidates;
  const cropOf = (frame: number) =>
    `crop?frame=${frame}&x=${crop.x}&y=${crop.y}&width=${crop.width}&height=${crop.height}`;
  holder.append(
    make('div', { class: 'crop' }, make('img', { alt: '', src: cropOf(0) }), make('span', {}, 'merged')),
  );
  for (const { number, sharePercent } of candidates.frames) {
    const depth = info.frames.find((frame) => frame.number === number)?.depth ?? null;
    const place = depth === null ? '' : `${depthWords(depth, info.unit)} · `;
    const button = keyButton('', `crop-${number}`, () => onChoose(number));
    button.className = 'crop';
    button.setAttribute('aria-pressed', String(number === chosen));
    button.dataset.frame = String(number);
    button.append(
      make('img', { alt: '', src: cropOf(number) }),
      make('span', { class: 'who' }, `frame ${number}`),
      make('small', {}, `${place}supplies ${shareText(sharePercent)}`),
    );
    holder.append(button);
  }
  return holder;
}

/** Any frame to choose, sharp there or not. */
export function frameSelect(
  info: ResultInfo,
  chosen: number | undefined,
  onChoose: (frame: number) => void,
): HTMLElement {
  const select = make('select', { 'aria-label': 'Any frame', 'data-key': 'any-frame' });
  select.append(make('option', { value: '', disabled: true, selected: chosen === undefined }, 'any frame'));
  for (const { number, used, isThere } of info.frames) {
    if (!used || !isThere) continue;
    select.append(make('option', { value: number, selected: number === chosen }, `frame ${number}`));
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

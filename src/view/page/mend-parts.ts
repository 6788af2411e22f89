import type { Candidates, PageMend, PageRule, Refusal, ResultInfo } from '../protocol.js';
import { make } from './dom.js';
import { formatDepth, shareText } from './format-values.js';
import { cornersOf } from './outline-drawing.js';

/** A button that is found again by its key after the panel was filled anew. */
export function keyButton(label: string, key: string, onPress: () => void): HTMLButtonElement {
  const button = make('button', { type: 'button', 'data-key': key }, label);
  button.addEventListener('click', onPress);
  return button;
}

/** What a mend takes its region from: a frame, or what a rule makes of all. */
export type MendSource = Pick<PageMend, 'frame' | 'rule'>;

export function isSameSource(first: MendSource | undefined, second: MendSource): boolean {
  return first?.frame === second.frame && first.rule === second.rule;
}

export function sourceText({ frame, rule }: MendSource): string {
  return rule === undefined ? `frame ${frame}` : `rule ${rule}`;
}

/** What each rule does, in a few words. */
const ruleTexts: Record<PageRule, string> = {
  auto: 'surface, blur cleared',
  select: 'strongest detail',
  weigh: 'along the surface',
};

/**
 * The region as it was merged, as other rules merge it, and in the frames that are sharp there, to choose from. As it was
 * merged it can be had where other mends may have changed it.
 */
export function cropCards(
  candidates: Candidates,
  info: ResultInfo,
  crops: RuleCrops,
  hasOthers: boolean,
  chosen: MendSource | undefined,
  onChoose: (source: MendSource) => void,
): HTMLElement {
  const holder = make('div', {
    class: 'crops',
    role: 'group',
    'aria-label': 'As merged, as other rules merge it, and the sharpest frames here',
  });
  const { crop } = candidates;
  const cropOf = (frame: number) =>
    `crop?frame=${frame}&x=${crop.x}&y=${crop.y}&width=${crop.width}&height=${crop.height}`;
  const add = (source: MendSource, key: string, image: HTMLElement, ...texts: HTMLElement[]): void => {
    const button = keyButton('', key, () => onChoose(source));
    button.className = 'crop';
    button.setAttribute('aria-pressed', String(isSameSource(chosen, source)));
    button.append(image, make('span', { class: 'who' }, sourceText(source)), ...texts);
    if (source.rule === undefined) button.dataset.frame = String(source.frame);
    else button.dataset.rule = source.rule;
    holder.append(button);
  };
  const merged = make('img', { alt: '', src: cropOf(0) });
  if (hasOthers) add({ frame: 0, rule: info.rule }, 'crop-merged', merged, make('small', {}, 'as merged'));
  else
    holder.append(
      make(
        'div',
        { class: 'crop' },
        merged,
        make('span', {}, `rule ${info.rule}`),
        make('small', {}, 'as merged'),
      ),
    );
  for (const rule of candidates.rules) {
    const { image, text } = crops.of(rule, candidates);
    add({ frame: 0, rule }, `crop-${rule}`, image, make('small', {}, ruleTexts[rule]), text);
  }
  for (const { number, sharePercent } of candidates.frames) {
    const frame = info.frames.find((known) => known.number === number);
    const depth = frame?.depth ?? null;
    const depthLabel = depth === null ? '' : `${formatDepth(depth, info.unit)} · `;
    add(
      { frame: number },
      `crop-${number}`,
      make('img', { alt: '', src: cropOf(number) }),
      make('small', { class: 'file' }, frame?.name ?? ''),
      make('small', {}, `${depthLabel}${shareText(sharePercent)} of it`),
    );
  }
  return holder;
}

/** Crops of what other rules make of a region: they take their time, and stay while the panel is filled anew. */
export class RuleCrops {
  private readonly made = new Map<PageRule, { image: HTMLImageElement; text: HTMLElement }>();

  of(rule: PageRule, { crop, window: part }: Candidates): { image: HTMLImageElement; text: HTMLElement } {
    const known = this.made.get(rule);
    if (known) return known;
    const source = `merged-crop?rule=${rule}&x=${crop.x}&y=${crop.y}&width=${crop.width}&height=${crop.height}&left=${part.x}&top=${part.y}&across=${part.width}&down=${part.height}`;
    const image = make('img', { alt: '', src: source });
    const text = make('small', { role: 'status' }, 'merging ...');
    image.addEventListener('load', () => {
      text.textContent = '';
    });
    image.addEventListener('error', () => {
      void reasonOf(source).then((reason) => {
        text.textContent = reason;
      });
    });
    this.made.set(rule, { image, text });
    return { image, text };
  }

  /** For another region: what is still being made is given up. */
  clear(): void {
    for (const { image } of this.made.values()) image.removeAttribute('src');
    this.made.clear();
  }
}

async function reasonOf(address: string): Promise<string> {
  try {
    const response = await fetch(address);
    return response.ok ? '' : ((await response.json()) as Refusal).message;
  } catch {
    return 'It could not be merged.';
  }
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
  const what = `${mend.id} · ${sourceText(mend)}${mend.kept ? '' : ' (dropped)'}`;
  return make(
    'li',
    { class: mend.kept ? '' : 'dropped', 'data-mend': mend.id },
    keep,
    make('span', { class: 'what' }, what),
    note,
    find,
  );
}

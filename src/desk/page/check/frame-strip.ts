import type { CheckedFrame } from '../../../check/check-report.js';
import { frameCaption, spotMarkup } from '../../../check/page-parts.js';
import { unsafeHTML } from '../../lit/directives/unsafe-html.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';

/** A frame as the strip shows it. */
export interface StripFrame {
  number: number;
  /** Address of its small picture; undefined while there is none. */
  picture: string | undefined;
  /** What was measured; undefined until the check is done, and of frames that it left out. */
  checked: CheckedFrame | undefined;
  isLeftOut: boolean;
  /** A finding names it. */
  isNamed: boolean;
  /** The verdict that was chosen last is about it. */
  isPointedAt: boolean;
}

export interface StripEvents {
  onSelect(number: number): void;
  /** Leaves the frame out, or takes it back. */
  onToggle(number: number): void;
}

/**
 * All frames in a row, to go through by arrows; Delete leaves one out.
 *
 * @param size Of the photographs, once it is known: pictures keep their room while they are loaded.
 */
export function frameStrip(
  frames: readonly StripFrame[],
  size: { width: number; height: number } | undefined,
  selected: number | undefined,
  { onSelect, onToggle }: StripEvents,
): TemplateResult {
  const at = frames.findIndex(({ number }) => number === selected);
  const move = (event: KeyboardEvent): void => {
    const last = frames.length - 1;
    const targets: Record<string, number | undefined> = {
      ArrowRight: Math.min(last, at + 1),
      ArrowLeft: Math.max(0, at - 1),
      PageDown: Math.min(last, at + 10),
      PageUp: Math.max(0, at - 10),
      Home: 0,
      End: last,
    };
    const target = targets[event.key];
    if (target !== undefined) onSelect(frames[target].number);
    else if ((event.key === 'Delete' || event.key === ' ') && at >= 0) onToggle(frames[at].number);
    else return;
    event.preventDefault();
  };
  return html`<div
    class="frames"
    role="listbox"
    tabindex="0"
    aria-label="Frames in capture order"
    aria-activedescendant=${at < 0 ? nothing : `strip-${selected}`}
    @keydown=${move}
  >
    ${frames.map((frame) => stripFrame(frame, size, selected, onSelect))}
  </div>`;
}

function stripFrame(
  { number, picture, checked, isLeftOut, isNamed, isPointedAt }: StripFrame,
  size: { width: number; height: number } | undefined,
  selected: number | undefined,
  onSelect: (number: number) => void,
): TemplateResult {
  const caption = checked ? frameCaption(checked) : `Frame ${number}`;
  const classes = [isLeftOut && 'left-out', isNamed && 'named', isPointedAt && 'pointed'].filter(Boolean);
  const state = isLeftOut ? ', left out' : isNamed ? ', a verdict names it' : '';
  return html`<div
    class=${classes.join(' ')}
    id="strip-${number}"
    role="option"
    aria-selected=${number === selected}
    aria-label="${caption}${state}"
    title=${caption}
    @click=${() => onSelect(number)}
  >
    <span class="shot"
      >${picture === undefined ? nothing : html`<img src=${picture} alt="" decoding="async" width=${size?.width ?? nothing} height=${size?.height ?? nothing} />`}${
        checked ? unsafeHTML(spotMarkup(checked).text) : nothing
      }</span
    ><span class="number">${number}</span>
  </div>`;
}

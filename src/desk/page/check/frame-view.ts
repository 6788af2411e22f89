import type { CheckedFrame } from '../../../check/check-report.js';
import { frameCaption, spotMarkup } from '../../../check/page-parts.js';
import { percentText, shortNumber } from '../../../result/report/numbers.js';
import { unsafeHTML } from '../../lit/directives/unsafe-html.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import { thumbnailAddress } from '../parts/thumbnail.js';
import type { StripFrame } from './frame-strip.js';

/** The frame that is chosen, larger, with what was measured of it. */
export function frameView(
  folder: string,
  { number, checked, isLeftOut, picture: small }: StripFrame,
  onToggle: (number: number) => void,
): TemplateResult {
  return html`<section class="chosen" aria-label="Frame ${number}">
    <figure class="view">
      ${
        checked
          ? html`${large(folder, checked, small)}${unsafeHTML(spotMarkup(checked).text)}`
          : small === undefined
            ? nothing
            : html`<img src=${small} alt="Frame ${number}" />`
      }
    </figure>
    <h2>Frame ${number}${checked ? html` <span class="quiet">${checked.name}</span>` : nothing}</h2>
    ${checked ? facts(checked) : nothing}
    <p class="row">
      <button type="button" aria-pressed=${isLeftOut} @click=${() => onToggle(number)}>
        ${isLeftOut ? 'Left out: use it again' : 'Leave this frame out'}
      </button>
    </p>
  </section>`;
}

/** The photograph; where it cannot be shown, as a camera raw file, the picture of the strip. */
function large(folder: string, frame: CheckedFrame, small: string | undefined): TemplateResult {
  const showSmall = (event: Event): void => {
    const image = event.target as HTMLImageElement;
    if (small !== undefined && image.getAttribute('src') !== small) image.src = small;
  };
  const address = thumbnailAddress(folder, frame.name, 1280);
  return html`<img src=${address} alt=${frameCaption(frame)} decoding="async" @error=${showSmall} />`;
}

function facts(frame: CheckedFrame): TemplateResult {
  const { centre, part, sharpestPercent, travelSteps, light, burntPercent, blockedPercent, usable } = frame;
  const rows: [string, string][] = [
    ['Sharpest here', centre ? `${percentText(sharpestPercent)} of the detail, ${part}` : 'nothing'],
    ['Step before it', travelSteps === null ? 'not known' : `${shortNumber(travelSteps, 2)} of a usual one`],
    [
      'Light',
      `${light >= 1 ? '+' : '−'}${shortNumber(Math.abs(100 * (light - 1)), 1)} % against the middle frame`,
    ],
    ['Burnt, black', `${percentText(burntPercent)}, ${percentText(blockedPercent)}`],
    ...(usable ? [] : ([['Alignment', 'cannot be aligned']] satisfies [string, string][])),
  ];
  return html`<dl>${rows.map(([name, value]) => html`<dt>${name}</dt><dd>${value}</dd>`)}</dl>`;
}

import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import type { Job } from '../jobs.js';
import { goneMessage } from '../notice.js';
import { screenAddress } from '../screen.js';

/** The screen that shows a job. */
const screens: Record<Job['kind'], string> = {
  merge: 'merge',
  sample: 'places',
  check: 'check',
  watch: 'shoot',
  night: 'night',
};

/** In the bar, on every screen: what is being done, or that nobody answers. */
export function workLine(jobs: readonly Job[], isThere: boolean): TemplateResult | typeof nothing {
  if (!isThere) return html`<span class="lost" role="alert">${goneMessage}</span>`;
  const running = jobs.find(({ state }) => state === 'running');
  const waiting = jobs.filter(({ state }) => state === 'waiting').length;
  if (!running) return nothing;
  const path = screens[running.kind];
  return html`<a href=${screenAddress(path, { job: String(running.id) })}
    ><progress max="1" .value=${running.share} aria-label="Progress of ${running.title}"></progress>
    <span class="work-name">${running.title}</span>${waiting > 0 ? html` <span class="quiet">+${waiting}</span>` : nothing}</a
  >`;
}

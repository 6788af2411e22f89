import { spanText } from '../../../stack/words.js';
import { html, nothing, type TemplateResult } from '../../lit/lit-html.js';
import { send } from '../api.js';
import type { Job } from '../jobs.js';
import { showFailure } from '../notice.js';

/** How far a job is, with time left, and the way to end it. */
export function jobProgress(job: Job): TemplateResult {
  const left = job.leftS === null ? '' : `about ${spanText(job.leftS * 1000)} left`;
  return html`<div class="job-progress">
    <progress max="1" .value=${job.share} aria-label="Progress of ${job.title}"></progress>
    <span class="job-stage">${job.stage}</span> <span class="quiet">${left}</span>
    ${job.endedAt === null ? html`<button type="button" @click=${() => cancelJob(job)}>Cancel</button>` : nothing}
  </div>`;
}

export async function cancelJob({ id }: Job): Promise<void> {
  try {
    await send('api/jobs/cancel', { id });
  } catch (error) {
    showFailure(error);
  }
}

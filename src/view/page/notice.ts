import { byId } from './dom.js';

/** How long a notice about something that was just done stays. */
const shownMs = 9000;
let timer: ReturnType<typeof setTimeout> | undefined;

/** Shows a sentence over the picture, for a while or until it is closed. */
export function showNotice(message: string, isLasting = false): void {
  byId('status-text').textContent = message;
  byId('notice').hidden = false;
  clearTimeout(timer);
  if (!isLasting) timer = setTimeout(closeNotice, shownMs);
}

export function closeNotice(): void {
  clearTimeout(timer);
  byId('status-text').textContent = '';
  byId('notice').hidden = true;
}

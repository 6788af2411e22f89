/** Said when the server does not answer. */
export const goneMessage = 'Lamella has ended or does not answer: start it again, and it opens a new page.';

/** How long a notice stays, ms. */
const shownMs = 9000;
let timer: ReturnType<typeof setTimeout> | undefined;

/** Shows a sentence over the screen for a while; a screen reader says it. */
export function showNotice(message: string): void {
  const holder = document.getElementById('notice')!;
  holder.textContent = message;
  holder.hidden = false;
  clearTimeout(timer);
  timer = setTimeout(() => {
    holder.hidden = true;
    holder.textContent = '';
  }, shownMs);
}

/** Shows why something was refused. */
export function showFailure(error: unknown): void {
  if (error instanceof DOMException && error.name === 'AbortError') return;
  // A script that cannot be loaded: browsers say so in words of their own.
  if (error instanceof TypeError && /import/i.test(error.message)) showNotice(goneMessage);
  else showNotice(error instanceof Error ? error.message : String(error));
}

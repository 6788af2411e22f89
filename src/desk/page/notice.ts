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
  showNotice(error instanceof Error ? error.message : String(error));
}

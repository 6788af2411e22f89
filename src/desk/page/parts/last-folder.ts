const key = 'lamella-folder';

/** Keeps the folder that was looked at last, until the page is closed. */
export function rememberFolder(path: string): void {
  sessionStorage.setItem(key, path);
}

/** The folder that was looked at last; null for none. */
export function lastFolder(): string | null {
  return sessionStorage.getItem(key);
}

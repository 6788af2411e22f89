import { html, type TemplateResult } from '../../lit/lit-html.js';
import { addressOf } from '../api.js';

/** The address of a photograph made small; the server may keep it for as long as the page lives. */
export function thumbnailAddress(folder: string, name: string, side: 160 | 320 | 1280 = 320): string {
  const separator = folder.includes('\\') && !folder.includes('/') ? '\\' : '/';
  return addressOf('thumbnail', { path: `${folder}${separator}${name}`, side: String(side) });
}

/** A small picture; one that cannot be had leaves its ground. */
export function picture(address: string, alt: string): TemplateResult {
  return html`<img class="thumb" src=${address} alt=${alt} loading="lazy" decoding="async" @error=${hide} @load=${show} />`;
}

function hide(event: Event): void {
  (event.target as HTMLElement).classList.add('missing');
}

/** The same element may get another picture. */
function show(event: Event): void {
  (event.target as HTMLElement).classList.remove('missing');
}

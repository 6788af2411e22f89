import { optionError } from '../../option-error.js';

/** Throws UsageError unless the text is the address of a Redis server. */
export function checkQueueUrl(url: string): void {
  const parsed = URL.canParse(url) ? new URL(url) : undefined;
  if (!parsed || !['redis:', 'rediss:'].includes(parsed.protocol) || parsed.hostname === '') {
    throw optionError('queue', 'the address of a Redis server, such as redis://host:6379,', shownUrl(url));
  }
}

/** An address as it may be shown: without its password, wherever that stands. */
export function shownUrl(url: string): string {
  if (url === '') return 'an empty text';
  // To the last sign that can end it, for a password may hold any of them.
  return url.replace(/(:\/\/[^:@/]*:).*@/s, '$1***@').replace(/([?&]password=)[^&#]*/gi, '$1***');
}

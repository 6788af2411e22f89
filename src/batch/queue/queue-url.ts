import { optionError } from '../../option-error.js';
import type { OptionKind } from '../../options/option.js';

/** The address of a Redis server. */
export const queueAddress: OptionKind<string> = {
  range: 'the address of a Redis server, such as redis://host:6379,',
  isValid: (value): value is string => {
    const parsed = typeof value === 'string' && URL.canParse(value) ? new URL(value) : undefined;
    return parsed !== undefined && /^rediss?:$/.test(parsed.protocol) && parsed.hostname !== '';
  },
  read: (text) => text,
  show: (value) => shownUrl(String(value)),
  valueName: 'URL',
};

/** Throws UsageError unless the text is the address of a Redis server. */
export function checkQueueUrl(url: string): void {
  if (!queueAddress.isValid(url)) throw optionError('queue', queueAddress.range, shownUrl(url));
}

/** An address as it may be shown: without its password, wherever that stands. */
export function shownUrl(url: string): string {
  if (url === '') return 'an empty text';
  // To the last sign that can end it, for a password may hold any of them.
  return url.replace(/(:\/\/[^:@/]*:).*@/s, '$1***@').replace(/([?&]password=)[^&#]*/gi, '$1***');
}

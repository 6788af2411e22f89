const collator = new Intl.Collator('en', { numeric: true, sensitivity: 'base' });

/**
 * Order of file names as people count: IMG_9.JPG before IMG_10.JPG, letter case ignored.
 * Names that differ only in case or leading zeros (IMG_2, IMG_02) are ordered by code unit, so that
 * the order never depends on how the file system lists them.
 */
export function compareNames(first: string, second: string): number {
  return collator.compare(first, second) || (first < second ? -1 : first > second ? 1 : 0);
}

/** The first names of a list and how many follow: "a.txt, b.xmp, c.db and 4 more". */
export function someNames(names: readonly string[], shown = 3): string {
  // "and 1 more" takes as much room as the name itself.
  if (names.length <= shown + 1) return joinWords(names);
  return `${names.slice(0, shown).join(', ')} and ${names.length - shown} more`;
}

/** "a", "a and b", "a, b and c". */
export function joinWords(words: readonly string[]): string {
  if (words.length < 2) return words.join('');
  return `${words.slice(0, -1).join(', ')} and ${words[words.length - 1]}`;
}

/** "1 frame", "3 frames". */
export function countOf(count: number, noun: string): string {
  return `${count} ${noun}${count === 1 ? '' : 's'}`;
}

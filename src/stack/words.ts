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

/** A span of time as people say it, two units at most: "8 s", "1 min 20 s", "2 h 5 min". */
export function spanText(ms: number): string {
  const seconds = Math.max(0, Math.round(ms / 1000));
  if (seconds < 60) return `${seconds} s`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min ${seconds % 60} s`;
  return `${Math.floor(seconds / 3600)} h ${Math.floor((seconds % 3600) / 60)} min`;
}

/** A file name without its extension, letter case ignored: what files of one exposure have in common. */
export function stemOf(name: string): string {
  return name.replace(/\.[^.]*$/, '').toLowerCase();
}

/** "frame 3", "frames 3, 5 and 7 to 12": runs of three or more are drawn together. */
export function framesText(numbers: readonly number[]): string {
  if (numbers.length === 0) return 'all frames';
  return `${numbers.length === 1 ? 'frame' : 'frames'} ${numbersText(numbers)}`;
}

export function numbersText(numbers: readonly number[]): string {
  const parts = runsOf(numbers).flatMap(([first, last]) => {
    if (last - first >= 2) return [`${first} to ${last}`];
    return first === last ? [String(first)] : [String(first), String(last)];
  });
  return parts.length < 2 ? parts.join('') : `${parts.slice(0, -1).join(', ')} and ${parts.at(-1)}`;
}

/** The same as a value of `--skip`: "3,5,7-12". */
export function skipText(numbers: readonly number[]): string {
  return runsOf(numbers)
    .map(([first, last]) => (first === last ? `${first}` : `${first}-${last}`))
    .join(',');
}

/** First and last of each run of numbers that follow one another, rising. */
function runsOf(numbers: readonly number[]): [number, number][] {
  const runs: [number, number][] = [];
  for (const number of [...numbers].sort((p, q) => p - q)) {
    const run = runs.at(-1);
    if (run && number === run[1] + 1) run[1] = number;
    else runs.push([number, number]);
  }
  return runs;
}

/** "3 and 4, 7 and 8": pairs of frames with something between them. */
export function pairsText(pairs: readonly (readonly [number, number])[]): string {
  return pairs.map(([from, to]) => `${from} and ${to}`).join(', ');
}

/** A sentence's first letter in capitals. */
export function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

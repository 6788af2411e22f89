/** C0 (but tab), DEL and C1, which a terminal obeys instead of showing; marks that turn the direction of writing. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
const controlCodes = /[\u0000-\u0008\u000a-\u001f\u007f-\u009f\u2028\u2029\u202a-\u202e\u2066-\u2069]/g;

/**
 * A line that is safe to show: names of files and values of options may carry codes that steer a terminal, and line
 * feeds that make a name look like a message of ours.
 */
export function printable(line: string): string {
  return line.replace(controlCodes, (code) => {
    const hex = code.charCodeAt(0).toString(16);
    return hex.length > 2 ? `\\u${hex}` : `\\x${hex.padStart(2, '0')}`;
  });
}

/** The same of a text of several lines, which are kept; names in it are made printable before they are put in. */
export function printableLines(text: string): string {
  return text.split('\n').map(printable).join('\n');
}

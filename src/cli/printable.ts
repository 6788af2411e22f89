/** C0 (but tab and line feed), DEL and C1: what a terminal would obey instead of show. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
const controlCodes = /[\u0000-\u0008\u000b-\u001f\u007f-\u009f]/g;

/** Text that is safe to show: a file name or option value may carry codes that steer a terminal. */
export function printable(text: string): string {
  return text.replace(controlCodes, (code) => `\\x${code.charCodeAt(0).toString(16).padStart(2, '0')}`);
}

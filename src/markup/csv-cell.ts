/**
 * A text as a cell of CSV (RFC 4180). A spreadsheet would compute what begins with = + - @, their full-width forms or a
 * tab, after spaces and line breaks too: an apostrophe before it makes it text (common practice, OWASP "CSV injection",
 * from memory).
 */
export function textCell(text: string): string {
  const guarded = /^\s*[=+\-@\t\r＝＋－＠]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(guarded) ? `"${guarded.replaceAll('"', '""')}"` : guarded;
}

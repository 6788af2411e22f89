/** Two-character codes, control sequences, or any character. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: the codes of a terminal are what is read.
const tokens = /\u001b(?:[78]|\[[0-9;?]*[a-zA-Z])|[\s\S]/g;

/**
 * What a terminal shows after `text`: a second reader for the few codes that a progress line needs
 * (ECMA-48 and the save and restore of VT100). Any other code is an error.
 */
export function screenAfter(text: string): string[] {
  const rows: string[] = [''];
  let row = 0;
  let column = 0;
  let saved: [number, number] = [0, 0];
  const put = (character: string): void => {
    rows[row] = rows[row].padEnd(column).slice(0, column) + character + rows[row].slice(column + 1);
    column++;
  };
  for (const token of text.match(tokens) ?? []) {
    if (token === '\n') {
      row++;
      column = 0;
      rows[row] ??= '';
    } else if (token === '\r') column = 0;
    else if (token === '\u001b7') saved = [row, column];
    else if (token === '\u001b8') [row, column] = saved;
    else if (token.startsWith('\u001b[') && token.endsWith('G'))
      column = Math.max(0, Number(token.slice(2, -1)) - 1);
    else if (token.startsWith('\u001b[') && token.endsWith('A'))
      row = Math.max(0, row - Number(token.slice(2, -1) || 1));
    else if (token.startsWith('\u001b[') && token.endsWith('J')) {
      rows[row] = rows[row].slice(0, column);
      rows.length = row + 1;
    } else if (token === '\u001b[0K') rows[row] = rows[row].slice(0, column);
    else if (token === '\u001b[2K') rows[row] = '';
    else if (token.startsWith('\u001b')) throw new Error(`unknown terminal code ${JSON.stringify(token)}`);
    else put(token);
  }
  return rows.map((content) => content.trimEnd());
}

import { marked, type Token, type Tokens } from 'marked';

/** Narrowest and widest text, characters: longer lines are hard to read. */
const [minWidth, maxWidth] = [40, 100];

/**
 * A page of the guide as text for a terminal: headings underlined, paragraphs wrapped, tables as lists.
 *
 * @param columns Width of the terminal, characters.
 */
export function pageText(markdown: string, columns = maxWidth): string {
  const width = Math.max(minWidth, Math.min(maxWidth, columns));
  const blocks = marked.lexer(markdown).flatMap((token) => blockText(token, width));
  return `${blocks.filter((block) => block !== '').join('\n\n')}\n`;
}

function blockText(token: Token, width: number): string[] {
  switch (token.type) {
    case 'heading':
      return [headingText(token as Tokens.Heading)];
    case 'paragraph':
    case 'text':
      return [wrap(inlineText(token), width)];
    case 'code':
      return [indent((token as Tokens.Code).text, '    ')];
    case 'list':
      return [
        (token as Tokens.List).items
          .map((item, i) => itemText(token as Tokens.List, item, i, width))
          .join('\n'),
      ];
    case 'table':
      return [(token as Tokens.Table).rows.map((row) => rowText(row, width)).join('\n')];
    default:
      // Comments and space between blocks.
      return [];
  }
}

function headingText(heading: Tokens.Heading): string {
  const text = inlineText(heading);
  return `${text}\n${(heading.depth === 1 ? '=' : '-').repeat(text.length)}`;
}

function itemText(list: Tokens.List, item: Tokens.ListItem, index: number, width: number): string {
  const mark = list.ordered ? `${Number(list.start) + index}. ` : '- ';
  const body = item.tokens.flatMap((token) => blockText(token, width - mark.length)).join('\n');
  return mark + indent(body, ' '.repeat(mark.length)).trimStart();
}

/** The first cell on a line of its own, the others below it. */
function rowText(row: Tokens.TableCell[], width: number): string {
  const [first, ...others] = row.map(inlineText).filter((text) => text !== '');
  const below = others.map((text) => indent(wrap(text, width - 6), '      '));
  return [indent(wrap(first ?? '', width - 2), '  '), ...below].join('\n');
}

/** The words of a token without its marks. */
function inlineText(token: { tokens?: Token[]; text?: string }): string {
  if (!token.tokens) return token.text ?? '';
  return token.tokens
    .map((inner) => {
      if (inner.type === 'br') return ' ';
      if (inner.type === 'html') return '';
      return 'text' in inner || 'tokens' in inner ? plainText(inlineText(inner)) : '';
    })
    .join('');
}

/** Markdown hands on characters of HTML in words as entities. */
function plainText(text: string): string {
  return text
    .replaceAll('&lt;', '<')
    .replaceAll('&gt;', '>')
    .replaceAll('&quot;', '"')
    .replaceAll('&#39;', "'")
    .replaceAll('&amp;', '&');
}

function wrap(text: string, width: number): string {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(/\s+/)) {
    if (line !== '' && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else {
      line = line === '' ? word : `${line} ${word}`;
    }
  }
  return [...lines, line].join('\n');
}

function indent(text: string, by: string): string {
  return text
    .split('\n')
    .map((line) => (line === '' ? '' : by + line))
    .join('\n');
}

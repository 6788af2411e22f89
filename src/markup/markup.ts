/** A piece of HTML that is safe to put into a page. Only `html` and `rawMarkup` make one. */
export class Markup {
  constructor(readonly text: string) {}
}

type Piece = string | number | Markup | readonly Markup[];

/** A template whose values are escaped, unless they are markup themselves: a file name can never become a tag. */
export function html(parts: TemplateStringsArray, ...values: Piece[]): Markup {
  let text = parts[0];
  values.forEach((value, i) => {
    text += pieceText(value) + parts[i + 1];
  });
  return new Markup(text);
}

/** Our own text, taken as it is: style sheets and the like. */
export function rawMarkup(text: string): Markup {
  return new Markup(text);
}

/** Nothing, for what a page leaves out. */
export const noMarkup = new Markup('');

function pieceText(value: Piece): string {
  if (value instanceof Markup) return value.text;
  if (typeof value === 'object') return value.map((markup) => markup.text).join('');
  return escapeText(String(value));
}

const entities: Record<string, string> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};

function escapeText(text: string): string {
  return text.replace(/[&<>"']/g, (char) => entities[char]);
}

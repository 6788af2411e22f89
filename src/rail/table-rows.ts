/** A line of a table. */
export interface Row {
  /** Counted from 1, as editors do. */
  line: number;
  fields: string[];
  /** Whether an empty line stands before it. */
  isAfterGap: boolean;
}

/**
 * The rows of a text with commas, semicolons or tabs between fields; beside the latter two a decimal comma is understood.
 * Lines before the table that begin with # and hold no separator are comments.
 */
export function splitRows(text: string): Row[] {
  const lines = text.replace(/^\uFEFF/, '').split(/\r\n|\n|\r/);
  const isComment = (line: string) => line.trim() === '' || /^\s*#[^,;\t]*$/.test(line);
  const start = Math.max(
    0,
    lines.findIndex((line) => !isComment(line)),
  );
  // By the first line alone: notes may hold any mark.
  const separator = [';', '\t'].find((mark) => lines[start].includes(mark)) ?? ',';
  const rows: Row[] = [];
  let isAfterGap = false;
  for (const [i, content] of lines.entries()) {
    if (i < start) continue;
    const fields = fieldsOf(content, separator);
    const isEmpty = fields.every((field) => field === '');
    if (!isEmpty) rows.push({ line: i + 1, fields, isAfterGap });
    isAfterGap = isEmpty;
  }
  return rows;
}

/** The fields of a line; a mark within quotes parts nothing. */
function fieldsOf(content: string, separator: string): string[] {
  const fields: string[] = [];
  let field = '';
  let isQuoted = false;
  for (const letter of content) {
    if (letter === '"') isQuoted = !isQuoted;
    if (letter === separator && !isQuoted) {
      fields.push(field);
      field = '';
    } else {
      field += letter;
    }
  }
  return [...fields, field].map((whole) => {
    const bare = whole
      .trim()
      .replace(/^"(.*)"$/, '$1')
      .trim();
    return separator === ',' ? bare : bare.replace(/^([+-]?\d*),(\d+\s*[a-zµμ]*)$/i, '$1.$2');
  });
}

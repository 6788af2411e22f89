import { marked } from 'marked';
import { isGuideTopic } from '../guide/pages.js';
import { inDeskWords } from './option-labels.js';

/** Pages that are about programs and command lines alone. */
const otherTopics = new Set(['start', 'exit-codes', 'library']);

/** Whether the desk lists a page of the guide. */
export function isDeskTopic(topic: string): boolean {
  return !otherTopics.has(topic);
}

/**
 * A page of the guide as the desk shows it, HTML: without the command lines and the tables of their options, options by
 * their names on the screens, and the names of pages as links between them.
 */
export function guideHtml(markdown: string): string {
  const plain = inDeskWords(withoutCommands(markdown)).replaceAll(/`(“[^`”]+”)([^`]*)`/g, '$1$2');
  const html = marked.parse(plain, { async: false });
  return (
    html
      .replaceAll(/<code>(?:lamella help )?([a-z-]+)<\/code>/g, (code, word: string) =>
        isGuideTopic(word) && isDeskTopic(word) ? `<a href="#/guide?topic=${word}">${code}</a>` : code,
      )
      // What may be wider than the page is scrolled by keys too.
      .replaceAll('<pre>', '<pre tabindex="0">')
      .replaceAll('<table>', '<div class="wide" tabindex="0" role="group" aria-label="Table"><table>')
      .replaceAll('</table>', '</table></div>')
  );
}

function withoutCommands(markdown: string): string {
  return markdown
    .replaceAll(/^```sh\n[\s\S]*?^```\n/gm, '')
    .replaceAll(/^## Options\b.*\n+<!-- options of [\s\S]*?<!-- end of options -->\n?/gm, '');
}

import { marked } from 'marked';
import { guideTopics, isGuideTopic, readGuidePage } from '../../guide/pages.js';
import { jsonAnswer } from '../../view/local-server.js';
import type { GuideView } from '../protocol.js';
import { type DeskRoutes, required } from '../route.js';

export const guideRoutes: DeskRoutes = {
  'GET /api/guide': async (_desk, { query }) => {
    const topic = required(query, 'topic');
    if (!isGuideTopic(topic)) return { status: 404, message: 'The guide has no such page.' };
    const topics = guideTopics.map((name) => ({ topic: name, title: readGuidePage(name).title }));
    return jsonAnswer({ topics, html: guideHtml(readGuidePage(topic).text) } satisfies GuideView);
  },
};

/** A page of the guide as HTML: our own text, with names of its pages as links between them. */
function guideHtml(markdown: string): string {
  const html = marked.parse(markdown, { async: false });
  return (
    html
      .replaceAll(/<code>(?:lamella help )?([a-z-]+)<\/code>/g, (code, word: string) =>
        isGuideTopic(word) ? `<a href="#/guide?topic=${word}">${code}</a>` : code,
      )
      // What may be wider than the page is scrolled by keys too.
      .replaceAll('<pre>', '<pre tabindex="0">')
      .replaceAll('<table>', '<div class="wide" tabindex="0" role="group" aria-label="Table"><table>')
      .replaceAll('</table>', '</table></div>')
  );
}

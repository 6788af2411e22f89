import { guideTopics, isGuideTopic, readGuidePage } from '../../guide/pages.js';
import { jsonAnswer } from '../../view/local-server.js';
import { guideHtml, isDeskTopic } from '../guide-page.js';
import type { GuideView } from '../protocol.js';
import { type DeskRoutes, required } from '../route.js';

export const guideRoutes: DeskRoutes = {
  'GET /api/guide': async (_desk, { query }) => {
    const topic = required(query, 'topic');
    if (!isGuideTopic(topic)) return { status: 404, message: 'The guide has no such page.' };
    const topics = guideTopics
      .filter(isDeskTopic)
      .map((name) => ({ topic: name, title: readGuidePage(name).title }));
    return jsonAnswer({ topics, html: guideHtml(readGuidePage(topic).text) } satisfies GuideView);
  },
};

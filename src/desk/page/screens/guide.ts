import { unsafeHTML } from '../../lit/directives/unsafe-html.js';
import { html, render } from '../../lit/lit-html.js';
import type { GuideView } from '../../protocol.js';
import { ask } from '../api.js';
import { showFailure } from '../notice.js';
import { type Screen, screenAddress } from '../screen.js';

export const guideScreen: Screen = {
  title: 'Guide',
  path: 'guide',
  mount(element, context) {
    const gone = new AbortController();
    context.atEnd(() => gone.abort());
    const topic = context.query.get('topic') ?? 'desk';
    render(html`<h1>Guide</h1>`, element);
    ask<GuideView>('api/guide', { topic }, gone.signal).then(
      ({ topics, html: page }) =>
        render(
          html`<div class="guide">
            <nav class="topics" aria-label="Pages of the guide">
              ${topics.map(
                (one) =>
                  html`<a href=${screenAddress('guide', { topic: one.topic })} aria-current=${one.topic === topic ? 'page' : 'false'}>${one.title}</a>`,
              )}
            </nav>
            <article>${unsafeHTML(page)}</article>
          </div>`,
          element,
        ),
      showFailure,
    );
  },
};

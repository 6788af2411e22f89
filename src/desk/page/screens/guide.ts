import { html, render } from '../../lit/lit-html.js';
import type { Screen } from '../screen.js';

export const guideScreen: Screen = {
  title: 'Guide',
  path: 'guide',
  mount(element) {
    render(html`<h1>Guide</h1>`, element);
  },
};

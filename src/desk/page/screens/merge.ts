import { html, render } from '../../lit/lit-html.js';
import type { Screen } from '../screen.js';

export const mergeScreen: Screen = {
  title: 'Merge',
  path: 'merge',
  mount(element) {
    render(html`<h1>Merge</h1>`, element);
  },
};

import { html, render } from '../../lit/lit-html.js';
import type { Screen } from '../screen.js';

export const nightScreen: Screen = {
  title: 'Night',
  path: 'night',
  mount(element) {
    render(html`<h1>Night</h1>`, element);
  },
};

import { html, render } from '../../lit/lit-html.js';
import type { Screen } from '../screen.js';

export const lookScreen: Screen = {
  title: 'Look',
  path: 'look',
  mount(element) {
    render(html`<h1>Look</h1>`, element);
  },
};

import { html, render } from '../../lit/lit-html.js';
import type { Screen } from '../screen.js';

export const placesScreen: Screen = {
  title: 'Places',
  path: 'places',
  mount(element) {
    render(html`<h1>Places</h1>`, element);
  },
};

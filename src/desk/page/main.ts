import { html, render } from '../lit/lit-html.js';
import { ServerEvents } from './jobs.js';
import { workLine } from './parts/work-line.js';
import { type Screen, screenAddress } from './screen.js';
import { screens } from './screens.js';

const byId = (id: string): HTMLElement => document.getElementById(id)!;

const events = new ServerEvents((isThere) => {
  document.body.toggleAttribute('data-alone', !isThere);
  renderWork();
});
events.onJobs(renderWork);

const endings: (() => void)[] = [];
let shown = '';

/** Shows the screen that the address names, unless it is there already with the same values. */
function route(): void {
  const [path, query = ''] = location.hash.replace(/^#\/?/, '').split('?', 2);
  const screen = screens.find((candidate) => candidate.path === path) ?? screens[0];
  const address = `${screen.path}?${query}`;
  if (address === shown) return;
  const isFirst = shown === '';
  shown = address;
  for (const end of endings.splice(0)) end();
  const holder = byId('screen');
  const element = document.createElement('div');
  element.className = `of-${screen.path}`;
  holder.replaceChildren(element);
  document.title = `${screen.title} – Lamella`;
  renderNav(screen);
  const listen = (end: () => void): void => void endings.push(end);
  screen.mount(element, {
    query: new URLSearchParams(query),
    jobs: () => events.jobs,
    onJobs: (listener) => listen(events.onJobs(listener)),
    onEvent: (topic, listener) => listen(events.on(topic, listener)),
    atEnd: listen,
  });
  if (isFirst) return;
  // As after loading a page: the reader begins at the top of what is new.
  holder.scrollTop = 0;
  holder.focus();
}

function renderNav(current: Screen): void {
  render(
    screens.map(
      ({ path, title }) =>
        html`<a href=${path === 'guide' ? screenAddress(path, { topic: current.guide }) : `#/${path}`} aria-current=${current.path === path ? 'page' : 'false'}>${title}</a>`,
    ),
    byId('nav'),
  );
  byId('nav').querySelector('[aria-current=page]')?.scrollIntoView({ block: 'nearest', inline: 'center' });
}

function renderWork(): void {
  render(workLine(events.jobs, !document.body.hasAttribute('data-alone')), byId('work'));
}

document.querySelector('.skip')!.addEventListener('click', (event) => {
  event.preventDefault();
  byId('screen').focus();
});
addEventListener('hashchange', route);
route();
document.body.setAttribute('data-ready', '');

/** Rules of the places screen. */
export const placesStyle = `
.places { display: grid; grid-template: "roots place" auto "by-path place" 1fr / 15rem minmax(0, 1fr); gap: 0 2.4rem; align-items: start; }
.place { grid-area: place; }
.by-path { grid-area: by-path; }
.roots { grid-area: roots; display: grid; grid-template-columns: minmax(0, 1fr); gap: .15rem; }
.screen .roots > a, .screen .roots > button { display: block; color: var(--ink); text-decoration: none; padding: .5rem .8rem; border-radius: 4px; text-align: left; min-height: 0; overflow-wrap: anywhere; border: 0; background: none; }
.screen .roots > a:hover, .screen .roots > button:hover { background: var(--hover); }
.screen .roots > a[aria-current=location] { background: var(--panel); font-weight: 600; box-shadow: inset 3px 0 var(--accent); }
.path { margin: 1.4rem 0 0; padding: 0 .8rem; }
.path label { color: var(--quiet); font-size: .85rem; }
.path-row { display: flex; gap: .4rem; }
.path-row input { min-width: 0; flex: 1; }
.drop-hint { padding: 0 .8rem; font-size: .85rem; }
.trail { display: flex; flex-wrap: wrap; gap: .1rem .5rem; color: var(--quiet); margin-bottom: .2rem; }
.screen .trail a { color: var(--quiet); }
.folders + .trail { margin-top: 1.2rem; }
.facts { max-width: none; }
.actions { margin: .9rem 0; }
.screen .foot { margin-top: 1.2rem; }
.beside { font-size: .875rem; font-weight: 400; margin-left: .8rem; }
.cards { list-style: none; margin: 0; padding: 0; display: grid; grid-template-columns: repeat(auto-fill, minmax(15.5rem, 1fr)); gap: 1.1rem; }
.screen .card a, .screen .card button { display: grid; gap: .1rem; color: var(--ink); text-decoration: none; padding: .5rem; border-radius: 6px; background: var(--panel); border: 1px solid var(--edge); height: 100%; width: 100%; text-align: left; align-content: start; }
.screen .card a:hover, .screen .card button:hover { border-color: var(--control-edge); background: var(--hover); }
.pictures { display: grid; grid-auto-flow: column; grid-auto-columns: 1fr; gap: 2px; height: 10rem; background: var(--surround); border-radius: 3px; overflow: hidden; margin-bottom: .4rem; }
.pictures img { width: 100%; height: 100%; object-fit: cover; min-height: 0; }
.thumb.missing { visibility: hidden; }
.card .name { font-weight: 600; overflow-wrap: anywhere; }
.card .quiet, .card .mark { font-size: .85rem; }
.mark { color: var(--accent); }
.folders { list-style: none; margin: 0; padding: 0; border-top: 1px solid var(--row); }
.folders li { border-bottom: 1px solid var(--row); }
.screen .folders a, .screen .folders button.plain { display: flex; flex-wrap: wrap; gap: 0 1rem; justify-content: space-between; padding: .5rem .4rem; color: var(--ink); text-decoration: none; min-height: 2.6rem; align-items: center; width: 100%; background: none; border: 0; border-radius: 0; text-align: left; }
.screen .folders a:hover, .screen .folders button.plain:hover { background: var(--hover); }
.folders .name { overflow-wrap: anywhere; }
.strip { list-style: none; margin: 1.2rem 0 0; padding: 0; display: grid; grid-template-columns: repeat(auto-fill, minmax(8.5rem, 1fr)); gap: .7rem; }
.strip li { display: grid; gap: .1rem; font-size: .8rem; color: var(--quiet); min-width: 0; }
.strip img { width: 100%; aspect-ratio: 3 / 2; object-fit: cover; background: var(--surround); border-radius: 3px; }
.strip span { overflow: hidden; text-overflow: ellipsis; white-space: nowrap; }
.job-progress { display: flex; flex-wrap: wrap; gap: .3rem .8rem; align-items: center; }
.job-progress progress { flex: 1 0 100%; }
.sample-job { padding: .5rem .8rem; }
body[data-drop] .screen { box-shadow: inset 0 0 0 4px var(--accent); }
@media (max-width: 50rem) {
  .places { grid-template: "roots" auto "place" auto "by-path" auto / minmax(0, 1fr); gap: 1rem; }
  .roots { display: flex; flex-wrap: wrap; gap: .3rem; }
  .screen .roots > a { background: var(--panel); padding: .5rem 1rem; }
  .path { margin: 0; padding: 1rem 0 0; border-top: 1px solid var(--row); }
  .drop-hint { display: none; }
  .strip { grid-template-columns: repeat(auto-fill, minmax(6.5rem, 1fr)); }
  .sample-job { flex: 1 0 100%; padding: 0; }
}
`;

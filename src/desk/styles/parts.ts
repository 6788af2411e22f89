/** What several screens use. */
export const partsStyle = `
.screen h1 { font-size: 1.4rem; font-weight: 600; margin: 0 0 .3rem; overflow-wrap: anywhere; }
.screen h2 { font-size: 1.05rem; margin: 1.8rem 0 .6rem; }
.screen h3 { font-size: 1rem; margin: 0; font-weight: 600; }
.screen p { margin: .3rem 0 .7rem; max-width: 46rem; }
.screen a { color: var(--focus); }
.problem { border-left: .3rem solid var(--spoil); padding: .4rem 1rem; background: var(--panel); }
.quiet { color: var(--quiet); }
.screen button, .screen select, .screen input:not([type=checkbox], [type=radio]) { min-height: 2.4rem; padding: .3rem .8rem; border-radius: 4px; }
.button { display: inline-flex; align-items: center; min-height: 2.4rem; padding: .3rem .8rem; border-radius: 4px; border: 1px solid var(--control-edge); background: var(--control); text-decoration: none; }
.screen a.button { color: var(--ink); }
.button:hover { background: var(--hover); }
.screen a.button.main { background: var(--accent); border-color: var(--accent); color: var(--accent-ink); font-weight: 600; }
.screen a.button.main:hover { background: var(--accent-hover); }
.row { display: flex; flex-wrap: wrap; gap: .6rem 1rem; align-items: center; }
/* A picture, and beside it what is to be said or chosen; below it where there is no room. */
.halves { display: grid; grid-template-columns: minmax(0, 1fr) clamp(20rem, 30vw, 27rem); gap: 2rem; align-items: start; }
.view { position: relative; margin: 0; background: var(--surround); border-radius: 4px; overflow: hidden; min-height: 12rem; }
.view img { display: block; width: 100%; max-height: calc(100vh - 8rem); object-fit: contain; }
.view.early img { filter: saturate(.6) brightness(.8); }
.view figcaption { position: absolute; left: .7rem; bottom: .7rem; background: var(--glass); padding: .2rem .6rem; border-radius: 3px; font-size: .85rem; }
.remarks { list-style: none; margin: 0; padding: 0; display: grid; gap: .5rem; }
.remarks li { padding-left: .8rem; border-left: 3px solid var(--row); overflow-wrap: anywhere; }
.remarks .flaw { border-left-color: var(--flaw); }
.remarks .spoils { border-left-color: var(--spoil); }
.remarks .spoils { font-weight: 600; }
@media (max-width: 60rem) {
  .halves { grid-template-columns: minmax(0, 1fr); gap: 1rem; }
  .screen .halves .view { position: relative; }
  .halves .view img { max-height: 45vh; }
}
progress { appearance: none; height: .5rem; border: 0; border-radius: 99px; background: var(--row); overflow: hidden; vertical-align: middle; }
progress::-webkit-progress-bar { background: var(--row); }
progress::-webkit-progress-value { background: var(--accent); border-radius: 99px; }
progress::-moz-progress-bar { background: var(--accent); }
`;

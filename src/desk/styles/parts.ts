/** What several screens use. */
export const partsStyle = `
.screen h1 { font-size: 1.4rem; font-weight: 600; margin: 0 0 .3rem; overflow-wrap: anywhere; }
.screen h2 { font-size: 1.05rem; margin: 1.8rem 0 .6rem; }
.screen h3 { font-size: 1rem; margin: 0; font-weight: 600; }
.screen p { margin: .3rem 0 .7rem; max-width: 46rem; }
.screen a { color: var(--focus); }
.quiet { color: var(--quiet); }
.screen button, .screen select, .screen input:not([type=checkbox], [type=radio]) { min-height: 2.4rem; padding: .3rem .8rem; border-radius: 4px; }
.button { display: inline-flex; align-items: center; min-height: 2.4rem; padding: .3rem .8rem; border-radius: 4px; border: 1px solid var(--control-edge); background: var(--control); text-decoration: none; }
.screen a.button { color: var(--ink); }
.button:hover { background: var(--hover); }
.screen a.button.main { background: var(--accent); border-color: var(--accent); color: var(--accent-ink); font-weight: 600; }
.screen a.button.main:hover { background: var(--accent-hover); }
.row { display: flex; flex-wrap: wrap; gap: .6rem 1rem; align-items: center; }
progress { appearance: none; height: .5rem; border: 0; border-radius: 99px; background: var(--row); overflow: hidden; vertical-align: middle; }
progress::-webkit-progress-bar { background: var(--row); }
progress::-webkit-progress-value { background: var(--accent); border-radius: 99px; }
progress::-moz-progress-bar { background: var(--accent); }
`;

/** Rules of the guide screen. */
export const guideStyle = `
.guide { display: grid; grid-template-columns: 15rem minmax(0, 1fr); gap: 3rem; align-items: start; }
.topics { display: grid; grid-template-columns: minmax(0, 1fr); gap: .05rem; position: sticky; top: 0; }
.screen .topics a { padding: .35rem .8rem; color: var(--quiet); text-decoration: none; border-radius: 4px; }
.screen .topics a:hover { background: var(--hover); color: var(--ink); }
.screen .topics a[aria-current=page] { color: var(--ink); background: var(--panel); font-weight: 600; box-shadow: inset 3px 0 var(--accent); }
.guide article { max-width: 46rem; font-size: 1rem; line-height: 1.6; }
.guide article h1 { margin-bottom: .8rem; }
.guide pre { background: var(--panel); border: 1px solid var(--edge); border-radius: 4px; padding: .7rem 1rem; overflow-x: auto; }
.guide code { font: .92em ui-monospace, monospace; }
.guide .wide { overflow-x: auto; margin: 1rem 0; }
.guide table { border-collapse: collapse; font-size: .9rem; }
.guide th, .guide td { text-align: left; vertical-align: top; padding: .35rem .8rem .35rem 0; border-bottom: 1px solid var(--row); }
.guide td:first-child { white-space: nowrap; }
@media (max-width: 50rem) {
  .guide { grid-template-columns: minmax(0, 1fr); gap: 1rem; }
  .topics { position: static; display: flex; overflow-x: auto; margin: 0 -1rem; padding: 0 1rem .4rem; }
  .screen .topics a { white-space: nowrap; }
  .guide td:first-child { white-space: normal; min-width: 7rem; }
}
`;

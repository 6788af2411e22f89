/** Rules of the merge screen. */
export const mergeStyle = `
/* As high before its picture is there: nothing moves. */
.of-merge .view { align-self: start; position: sticky; top: 0; aspect-ratio: 3 / 2; max-height: calc(100vh - 8rem); width: 100%; }
.of-merge .view img { height: 100%; max-height: none; }
.of-merge .side { display: grid; gap: .9rem; align-content: start; }
.of-merge .side > p, .of-merge .side > h1 { margin: 0; }
.length { display: grid; grid-template-columns: minmax(0, 1fr) auto; gap: 0 .8rem; align-items: center; }
.length input { width: 6.75rem; text-align: right; font-variant-numeric: tabular-nums; }
.length .quiet { grid-column: 1 / -1; font-size: .85rem; }
.more summary, .side details summary { cursor: pointer; padding: .4rem 0; color: var(--focus); }
.more[open] { border-bottom: 1px solid var(--row); padding-bottom: .9rem; }
.screen fieldset { border: 0; padding: 0; margin: 0 0 .5rem; min-width: 0; }
.screen legend { padding: 0; margin-bottom: .2rem; color: var(--quiet); }
.option { display: flex; gap: .6rem; align-items: flex-start; padding: .35rem 0; cursor: pointer; }
.option input { flex: none; margin: .25rem 0 0; }
.line { display: grid; grid-template-columns: 9.5rem minmax(0, 1fr); gap: .2rem .8rem; align-items: center; padding: .2rem 0; color: var(--quiet); }
.line select, .line input { width: 100%; color: var(--ink); }
.out { overflow-wrap: anywhere; }
.go { padding-top: .3rem; }
.go .main { min-width: 9rem; }
.stage { font-size: 1.1rem; }
@media (max-width: 60rem) {
  .of-merge .view { max-height: 45vh; }
  /* The way on is always at hand. */
  .of-merge .go { position: sticky; bottom: 0; background: var(--ground); padding: .7rem 0; border-top: 1px solid var(--row); }
  .screen > .of-merge { padding-bottom: .5rem; }
}
.stages { list-style: none; margin: 0; padding: 0; display: grid; gap: .15rem; color: var(--quiet); }
.stages li::before { content: ""; display: inline-block; width: .5rem; height: .5rem; margin-right: .7rem; border: 1px solid var(--control-edge); border-radius: 50%; }
.stages .done::before, .stages [aria-current=step]::before { background: var(--accent); border-color: var(--accent); }
.stages [aria-current=step] { color: var(--ink); }
progress.wide { width: 100%; height: .6rem; }
.left { min-height: 1.5em; font-variant-numeric: tabular-nums; }
`;

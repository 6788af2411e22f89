/** Rules of the shoot screen; what has to be read from the bench is large. */
export const shootStyle = `
.of-shoot .asked { display: grid; gap: .2rem .8rem; max-width: 34rem; margin-top: 1rem; }
.of-shoot .asked label { color: var(--quiet); margin-top: .7rem; }
.of-shoot .asked .hint { margin: 0; font-size: .85rem; }
.of-shoot .asked .row { margin-top: 1rem; }
.of-shoot .view { display: grid; place-items: center; min-height: 14rem; }
.of-shoot .view img { max-height: calc(100vh - 21rem); width: auto; max-width: 100%; }
.of-shoot .view .framed { position: relative; display: block; }
.of-shoot .view .sharpest { position: absolute; width: 4.4rem; height: 4.4rem; margin: -2.2rem 0 0 -2.2rem; border: 2px solid var(--accent); border-radius: 50%; box-shadow: 0 0 0 1px rgb(0 0 0 / .6); transition: left .3s, top .3s; }
.of-shoot .empty { padding: 3rem; }
.of-shoot .side { display: grid; gap: .6rem; align-content: start; }
.of-shoot .side > p, .of-shoot .side > h1 { margin: 0; }
.of-shoot .count { display: flex; align-items: baseline; gap: .7rem; font-size: 1.3rem; }
.of-shoot .count strong { font-size: 4.2rem; line-height: 1; font-weight: 650; font-variant-numeric: tabular-nums; }
.of-shoot .count .word { margin-left: auto; font-size: 1.6rem; font-weight: 600; }
.of-shoot .count.bad .word { background: var(--accent); color: var(--accent-ink); padding: .1rem .8rem; border-radius: 4px; }
.of-shoot .to-go { font-size: 1.3rem; min-height: 2em; }
.of-shoot .now { min-height: 1.5em; overflow-wrap: anywhere; }
.of-shoot .remarks { max-height: 20rem; overflow: auto; }
.axis { margin: 1rem 0 0; }
.axis svg { display: block; width: 100%; height: auto; }
.axis .bar { fill: var(--curve); }
.axis .last .bar { fill: var(--accent); }
.axis .bad .bar { fill: var(--curve-edge); }
.axis .fault { fill: var(--accent); }
.axis .ground { stroke: var(--axis); stroke-width: 1.5; }
.axis .coming { stroke: var(--axis); stroke-width: 1.5; fill: none; }
.axis text { fill: var(--quiet); font-size: 20px; }
.axis .end { text-anchor: end; }
.axis figcaption { font-size: .85rem; }
@media (max-width: 60rem) {
  .of-shoot .halves { display: flex; flex-direction: column-reverse; align-items: stretch; }
  .of-shoot .view img { max-height: 40vh; }
}
@media (max-width: 40rem) { .axis text { font-size: 34px; } .axis figcaption { display: none; } }
@media (prefers-reduced-motion: reduce) { .of-shoot .view .framed { position: relative; display: block; }
.of-shoot .view .sharpest { transition: none; } }
`;

/** Style of the parts of a check, on its page and on the desk; colours are those of `verdictColours`, and the ranks of findings are in `verdictStyle`. */
export const checkPartsStyle = `
.findings td, .findings th { text-align: left; white-space: normal; vertical-align: top; padding: .5rem .8rem .5rem 0; }
.findings td:nth-child(-n+2) { white-space: nowrap; }
.findings td:nth-child(2) { white-space: normal; min-width: 6rem; }
.plots { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 32rem), 1fr)); gap: .4rem 1.4rem; }
.plot figcaption { color: var(--ink); font-weight: 600; }
.plot figcaption .quiet { font-weight: 400; }
.plot svg { width: 100%; height: auto; font-size: 12px; }
.plot text { fill: var(--quiet); }
.plot .grid { stroke: var(--line); }
.plot .marked { fill: var(--band); }
.plot path { fill: none; stroke-width: 2; }
.plot path.line-a { stroke: var(--a); }
.plot path.line-b { stroke: var(--b); stroke-dasharray: 6 3; }
.plot circle.line-a { fill: var(--a); }
.plot circle.line-b { fill: var(--b); }
.key { font-weight: 400; font-size: .85rem; margin-left: .8rem; }
.key.line-a::before { content: '\\25CF '; color: var(--a); }
.key.line-b::before { content: '\\25CF '; color: var(--b); }
.sensor { width: 100%; max-width: 30rem; height: auto; }
.sensor .plane { fill: none; stroke: var(--quiet); }
.sensor circle { fill: none; stroke: var(--spoil); stroke-width: 2; }
.sensor text { fill: var(--ink); font-size: 12px; }
.spot { position: absolute; inset: 0; width: 100%; height: 100%; pointer-events: none; }
.spot circle { fill: none; stroke: #fff; stroke-width: 2; }
.spot .under { stroke: #000; stroke-width: 4; }
`;

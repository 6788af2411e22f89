import { verdictColours, verdictStyle } from './verdict-style.js';

/** The look of the report: plain, readable in light and dark, on paper and on a small screen. */
export const pageStyle = `
:root { color-scheme: light dark; --paper: #fbfaf7; --ink: #1c1c1a; --quiet: #5a5850; --line: #cfccc2; --link: #0b57a4; ${verdictColours.light} }
@media (prefers-color-scheme: dark) {
  :root { --paper: #17181a; --ink: #ecebe6; --quiet: #aaa79d; --line: #44453f; --link: #8fc1ff; ${verdictColours.dark} }
}
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 76rem; padding: 1.5rem; background: var(--paper); color: var(--ink); font: 1rem/1.5 system-ui, sans-serif; }
h1 { font-size: 1.6rem; margin: 0 0 .25rem; overflow-wrap: anywhere; }
h2 { font-size: 1.2rem; margin: 2.2rem 0 .6rem; border-top: 1px solid var(--line); padding-top: 1rem; }
a { color: var(--link); }
.quiet, figcaption { color: var(--quiet); }
.verdicts { padding-left: 1.2rem; }
${verdictStyle}.warnings { border-left: .3rem solid var(--flaw); background: var(--flaw-paper); padding: .6rem 1rem; }
.warnings ul { margin: .3rem 0; padding-left: 1.2rem; }
figure { margin: 0 0 1rem; }
img { max-width: 100%; height: auto; display: block; }
.maps { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 26rem), 1fr)); gap: 1.2rem; }
.maps img { width: 100%; }
.legend { display: flex; flex-wrap: wrap; gap: .3rem 1rem; align-items: center; margin: .4rem 0 0; padding: 0; list-style: none; font-size: .9rem; }
.swatch { display: inline-block; width: 1.1em; height: 1.1em; margin-right: .4em; vertical-align: -.15em; border: 1px solid var(--quiet); }
.hatch { background: repeating-linear-gradient(-45deg, #404040 0 2px, #707070 2px 5px); }
.ramp { display: inline-block; width: 9rem; height: 1.1em; vertical-align: -.15em; border: 1px solid var(--quiet); }
.ruler { width: 100%; max-width: 54rem; height: auto; font-size: 12px; }
.ruler text { fill: var(--ink); }
.ruler line { stroke: var(--quiet); }
.ruler .tick { stroke: var(--ink); stroke-width: 3; }
.ruler .left-out .tick { stroke: var(--quiet); stroke-dasharray: 4 3; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums; }
th, td { padding: .2rem .6rem; text-align: right; border-bottom: 1px solid var(--line); white-space: nowrap; }
thead th { vertical-align: bottom; }
th.name, td.name { text-align: left; white-space: normal; overflow-wrap: anywhere; min-width: 8rem; }
tr.left-out td { color: var(--quiet); font-style: italic; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .2rem 1.2rem; }
dt { color: var(--quiet); }
dd { margin: 0; overflow-wrap: anywhere; }
@media print { body { max-width: none; } .wide { overflow: visible; } }
`;

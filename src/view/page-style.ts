/** The look of the page: neutral greys, so that the picture alone has colour; one accent; fit for touch. */
export const pageStyle = `
:root { color-scheme: dark; --ground: #161719; --panel: #212326; --edge: #43474d; --ink: #eceae5; --quiet: #b3b1aa; --lit: #ffc857; --focus: #9fd0ff; }
* { box-sizing: border-box; }
[hidden] { display: none !important; }
html, body { height: 100%; margin: 0; }
body { display: grid; grid-template: auto minmax(0, 1fr) / minmax(0, 1fr) 20rem; background: var(--ground); color: var(--ink); font: .875rem/1.4 system-ui, sans-serif; overflow: hidden; }
h1, h2 { font-size: 1rem; font-weight: 600; margin: 0; }
button, select, input { font: inherit; color: inherit; background: #2c2f33; border: 1px solid #63686f; border-radius: 3px; padding: .25rem .6rem; min-height: 1.9rem; }
button { cursor: pointer; }
button:hover:not(:disabled) { background: #3a3e44; }
button:disabled { color: #85878a; cursor: default; }
button.main { background: var(--lit); border-color: var(--lit); color: #1b1400; font-weight: 600; }
button.main:hover:not(:disabled) { background: #ffdb8f; }
button.main:disabled { background: #2c2f33; border-color: #63686f; color: #85878a; }
:focus-visible { outline: 2px solid var(--focus); outline-offset: 1px; }
.bar { grid-column: 1 / -1; display: flex; flex-wrap: wrap; gap: .4rem .8rem; align-items: center; padding: .4rem .8rem; background: var(--panel); border-bottom: 1px solid var(--edge); }
.bar h1 { max-width: 16rem; overflow: hidden; text-overflow: ellipsis; white-space: nowrap; }
.gap { flex: 1; }
.field { display: inline-flex; gap: .35rem; align-items: center; color: var(--quiet); }
.field input[type=number] { width: 4.4rem; }
.field input[type=checkbox], .mends input[type=checkbox] { width: 1.1rem; height: 1.1rem; min-height: 0; accent-color: var(--lit); }
.choices { display: inline-flex; }
.choices button { border-radius: 0; margin-left: -1px; padding: .25rem .55rem; }
.choices button:first-child { border-radius: 3px 0 0 3px; }
.choices button:last-child { border-radius: 0 3px 3px 0; }
.choices button[aria-checked=true] { background: #e4e1d9; color: #17181a; font-weight: 600; }
main { display: grid; grid-template-rows: minmax(0, 1fr) auto auto; min-width: 0; min-height: 0; }
.picture { position: relative; min-height: 0; overflow: hidden; background: #101113; }
canvas { position: absolute; inset: 0; width: 100%; height: 100%; touch-action: none; cursor: crosshair; outline-offset: -3px; }
.divider { position: absolute; top: 0; bottom: 0; width: 1.5rem; margin-left: -.75rem; cursor: ew-resize; touch-action: none; }
.divider::before { content: ""; position: absolute; left: calc(50% - 1px); top: 0; bottom: 0; width: 2px; background: #fff; box-shadow: 0 0 0 1px #000; }
.divider::after { content: "\\2194"; position: absolute; top: 45%; left: 0; width: 1.5rem; text-align: center; background: #fff; color: #000; border-radius: 3px; box-shadow: 0 0 0 1px #000; }
.scale, .legend, .zoom { position: absolute; background: rgb(22 23 25 / .82); padding: .3rem .6rem; border-radius: 3px; font-variant-numeric: tabular-nums; }
.scale { left: .7rem; bottom: .7rem; pointer-events: none; }
#scale-line { height: 6px; border: 2px solid #fff; border-top: 0; }
.legend { right: .7rem; bottom: .7rem; pointer-events: none; max-width: 60%; }
.legend .ends { display: flex; justify-content: space-between; gap: 1.5rem; }
.legend svg { display: block; width: 100%; min-width: 12rem; height: 12px; margin: .15rem 0; }
.legend ul { list-style: none; margin: 0; padding: 0; }
.legend li { display: flex; gap: .5rem; align-items: center; }
.legend li svg { width: 1.4rem; min-width: 1.4rem; height: 1rem; border: 1px solid #888; }
.zoom { right: .7rem; top: .7rem; display: flex; gap: .3rem; align-items: center; }
.zoom output { min-width: 3.6rem; text-align: center; }
.bench { background: var(--panel); border-top: 1px solid var(--edge); padding: .5rem .8rem; max-height: 15.5rem; overflow: auto; }
.bench p { margin: 0 0 .3rem; }
.readout { margin: 0; padding: .3rem .8rem; min-height: 1.9rem; background: var(--panel); border-top: 1px solid var(--edge); font-variant-numeric: tabular-nums; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }
.readout b { font-weight: 600; }
.rail { display: grid; grid-template-rows: auto minmax(0, 1fr) auto; min-height: 0; background: var(--panel); border-left: 1px solid var(--edge); }
.rail-head { display: flex; justify-content: space-between; gap: .6rem; padding: .5rem .8rem .2rem; }
#progress { color: var(--quiet); font-size: .8rem; text-align: right; }
.ruler { min-height: 0; }
.ruler svg { display: block; width: 100%; height: 100%; touch-action: none; user-select: none; }
.ruler text { fill: var(--quiet); font-size: 11px; font-variant-numeric: tabular-nums; }
.ruler .axis { stroke: #8b8f95; }
.ruler .tick line { stroke: #9a9ea4; }
.ruler .tick.gone line { stroke-dasharray: 3 3; }
.ruler .tick.spot line { stroke: #fff; }
.ruler .tick.spot text { fill: #fff; font-weight: 700; }
.ruler .tick.held line { stroke: var(--lit); }
.ruler .tick.held text { fill: var(--lit); font-weight: 700; }
.ruler .bracket { fill: none; stroke: var(--lit); stroke-width: 2; }
.ruler .curve { fill: #5f7f9e; fill-opacity: .55; stroke: #b9d6f2; stroke-width: 1.5; }
.ruler .spot-depth { stroke: #fff; stroke-width: 1.5; stroke-dasharray: 2 2; }
.ruler .active rect { fill: #9fd0ff; fill-opacity: .22; }
.rail-note { margin: 0; padding: .4rem .8rem; height: 5.6rem; overflow: auto; border-top: 1px solid var(--edge); color: var(--quiet); font-size: .8rem; }
.rail-note b { color: var(--ink); }
.plot { width: 100%; height: 8.5rem; display: block; }
.plot text { fill: var(--quiet); font-size: 11px; }
.plot .grid { stroke: #3a3e44; }
.plot .line { fill: none; stroke: #b9d6f2; stroke-width: 1.5; }
.plot .here { stroke: var(--lit); stroke-width: 1.5; }
.bench input[type=range] { flex: 1; accent-color: var(--lit); padding: 0; }
.row { display: flex; flex-wrap: wrap; gap: .4rem .8rem; align-items: center; }
.mend-grid { display: grid; grid-template-columns: minmax(0, 3fr) minmax(18rem, 2fr); gap: 1rem; }
.crops { display: flex; gap: .5rem; overflow-x: auto; padding: .2rem; }
.crop { display: grid; gap: .2rem; padding: .25rem; text-align: left; flex: 0 0 8.6rem; align-content: start; }
.crop img { width: 100%; height: 6rem; object-fit: contain; background: #101113; }
button.crop { min-width: 0; }
.crop small { white-space: normal; font-size: .75rem; color: var(--quiet); }
.crop[aria-pressed=true] { outline: 3px solid var(--lit); }
.crop[aria-pressed=true] .who::before { content: "\\2713 "; }
.mends { list-style: none; margin: .3rem 0; padding: 0; }
.mends li { display: flex; gap: .5rem; align-items: center; padding: .15rem 0; border-bottom: 1px solid #33373c; }
.mends li.dropped .what { text-decoration: line-through; color: var(--quiet); }
.mends input[type=text] { flex: 1; min-width: 4rem; }
.status { position: fixed; left: 50%; top: 4rem; transform: translateX(-50%); margin: 0; padding: .5rem 1rem; background: #f3e9cf; color: #1b1400; border-radius: 3px; max-width: 70%; z-index: 2; }
.status:empty { display: none; }
dialog { background: var(--panel); color: var(--ink); border: 1px solid var(--edge); border-radius: 4px; max-width: 40rem; }
dialog dl { display: grid; grid-template-columns: max-content 1fr; gap: .3rem 1rem; }
dt { color: var(--quiet); }
dd { margin: 0; }
@media (max-width: 50rem) {
  body { grid-template: auto minmax(0, 1fr) minmax(0, 15rem) / minmax(0, 1fr); }
  .rail { border-left: 0; border-top: 1px solid var(--edge); }
  .rail-note { display: none; }
  .choices { flex-wrap: wrap; row-gap: .2rem; }
  .mend-grid { grid-template-columns: minmax(0, 1fr); }
  /* With a tool in hand the picture needs the room. */
  body:has(.bench:not([hidden])) { grid-template-rows: auto minmax(0, 1fr) 0; }
  body:has(.bench:not([hidden])) .rail { display: none; }
}
`;

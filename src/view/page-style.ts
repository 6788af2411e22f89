import { baseStyle } from './base-style.js';

/** The look of the page over a result; --surround is drawn by its canvas too. */
export const pageStyle = `${baseStyle}
html, body { height: 100%; margin: 0; }
body { display: grid; grid-template: auto minmax(0, 1fr) / minmax(0, 1fr) clamp(20rem, 26vw, 25rem); background: var(--ground); color: var(--ink); font: .875rem/1.4 system-ui, sans-serif; overflow: hidden; }
.bar { grid-column: 1 / -1; display: flex; flex-wrap: wrap; gap: .4rem .8rem; align-items: center; padding: .4rem .8rem; background: var(--panel); border-bottom: 1px solid var(--edge); }
.home { color: var(--focus); padding: .3rem 0; }
.bar h1 { max-width: 16rem; overflow: hidden; text-overflow: ellipsis; white-space: nowrap; }
.gap { flex: 1; }
main { display: grid; grid-template-rows: minmax(0, 1fr) auto; min-width: 0; min-height: 0; }
.picture { position: relative; min-height: 0; overflow: hidden; background: var(--surround); }
canvas { position: absolute; inset: 0; width: 100%; height: 100%; touch-action: none; cursor: crosshair; outline-offset: -3px; }
.relief { position: absolute; inset: 0; background: var(--surround); z-index: 1; }
.relief canvas { cursor: grab; }
.relief-bar { position: absolute; left: .7rem; right: .7rem; top: .7rem; display: flex; flex-wrap: wrap; gap: .3rem .9rem; align-items: center; }
.relief-bar input[type=range] { width: 7rem; padding: 0; accent-color: var(--accent); }
.relief-status { position: absolute; left: .7rem; bottom: .7rem; margin: 0; }
.relief-status:empty { display: none; }
.bar button[aria-pressed=true], .bar button[aria-pressed=true]:hover { background: var(--chosen); color: var(--chosen-ink); font-weight: 600; }
.divider { position: absolute; top: 0; bottom: 0; width: 1.5rem; margin-left: -.75rem; cursor: ew-resize; touch-action: none; }
.divider::before { content: ""; position: absolute; left: calc(50% - 1px); top: 0; bottom: 0; width: 2px; background: #fff; box-shadow: 0 0 0 1px #000; }
.divider::after { content: "\\2194"; position: absolute; top: 45%; left: 0; width: 1.5rem; text-align: center; background: #fff; color: #000; border-radius: 3px; box-shadow: 0 0 0 1px #000; }
.over { background: var(--glass); padding: .3rem .6rem; border-radius: 3px; font-variant-numeric: tabular-nums; }
.scale, .legend, .zoom, .corner, .half, .loading, .notice { position: absolute; }
.scale { left: .7rem; bottom: .7rem; pointer-events: none; }
#scale-line { height: 6px; border: 2px solid var(--ink); border-top: 0; }
.legend { right: .7rem; bottom: .7rem; pointer-events: none; max-width: 60%; }
.legend .ends { display: flex; justify-content: space-between; gap: 1.5rem; }
.legend svg { display: block; width: 100%; min-width: 12rem; height: 12px; margin: .15rem 0; }
.legend ul { list-style: none; margin: 0; padding: 0; }
.legend li { display: flex; gap: .5rem; align-items: center; }
.legend li svg { width: 1.4rem; min-width: 1.4rem; height: 1rem; border: 1px solid #888; }
.zoom { right: .7rem; top: .7rem; display: flex; gap: .3rem; align-items: center; }
.zoom output { min-width: 3.6rem; text-align: center; }
.corner { left: .7rem; top: .7rem; max-width: calc(100% - 19rem); display: flex; flex-direction: column; align-items: flex-start; gap: .4rem; pointer-events: none; }
.corner > * { pointer-events: auto; max-width: 100%; }
#frame-field { display: flex; gap: .3rem; align-items: center; }
#frame-field button { padding: .25rem .5rem; }
.file { overflow: hidden; text-overflow: ellipsis; white-space: nowrap; min-width: 0; }
#frame-name { padding-left: .3rem; }
.half { bottom: 4rem; padding: .15rem .5rem; background: var(--glass); border-radius: 3px; pointer-events: none; max-width: 18rem; overflow: hidden; text-overflow: ellipsis; white-space: nowrap; }
.loading { right: .7rem; top: 3.9rem; pointer-events: none; color: var(--quiet); animation: appear .1s .3s both; }
@keyframes appear { from { opacity: 0; } }
.notice { left: .7rem; top: 3.9rem; z-index: 2; max-width: min(34rem, 100% - 1.4rem); display: flex; gap: .8rem; align-items: flex-start; padding: .5rem .5rem .5rem 1rem; background: var(--notice); color: var(--notice-ink); border-radius: 3px; }
.notice p { margin: .2rem 0; overflow-wrap: anywhere; }
.notice button { background: transparent; border-color: transparent; }
.notice button:hover { background: rgb(0 0 0 / .12); }
/* The panel takes its room from the ruler, and all of it at once: neither the picture nor the ruler moves as it fills. */
.side { display: grid; grid-template-rows: minmax(0, 1fr) auto; min-height: 0; min-width: 0; border-left: 1px solid var(--edge); background: var(--panel); }
.panel { border-top: 1px solid var(--edge); padding: .5rem .8rem; overflow: auto; }
.panel[data-tool=distance] { height: min(20rem, 46vh); }
.panel[data-tool=section] { height: min(30rem, 58vh); }
.panel[data-tool=mend] { height: min(38rem, 64vh); display: grid; grid-template-rows: auto minmax(0, 1fr); gap: .4rem; overflow: hidden; }
.panel-body { overflow: auto; }
.panel-head { display: grid; gap: .4rem; }
.doubtful { display: grid; grid-template-columns: auto auto minmax(0, 1fr); gap: .3rem; align-items: center; }
.panel .doubtful-text { margin: 0 0 0 .4rem; color: var(--quiet); font-size: .8rem; min-height: 2.2rem; align-self: center; }
#mend-state { flex: 1 0 8rem; font-size: .8rem; line-height: 1.2; }
.panel p { margin: 0 0 .3rem; }
.readout { padding: .3rem .8rem; min-height: 1.9rem; background: var(--panel); border-top: 1px solid var(--edge); font-variant-numeric: tabular-nums; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; position: relative; }
.rail { display: grid; grid-template-rows: auto minmax(0, 1fr) auto; min-height: 0; }
.side:has(.panel:not([hidden])) .rail-note { display: none; }
.rail-head { display: flex; justify-content: space-between; gap: .6rem; padding: .5rem .8rem .2rem; }
#progress { color: var(--quiet); font-size: .8rem; text-align: right; }
.ruler { min-height: 0; }
.ruler svg { display: block; width: 100%; height: 100%; touch-action: none; user-select: none; }
.ruler text { fill: var(--quiet); font-size: 11px; font-variant-numeric: tabular-nums; }
.ruler .axis { stroke: var(--axis); }
.ruler .tick line { stroke: var(--tick); }
.ruler .tick.gone line { stroke-dasharray: 3 3; }
.ruler .tick.spot line { stroke: var(--spot); }
.ruler .tick.spot text { fill: var(--spot); font-weight: 700; }
.ruler .tick.held line { stroke: var(--held); }
.ruler .tick.held text { fill: var(--held); font-weight: 700; }
.ruler .bracket { fill: none; stroke: var(--held); stroke-width: 2; }
.ruler .curve { fill: var(--curve); fill-opacity: .55; stroke: var(--curve-edge); stroke-width: 1.5; }
.ruler .spot-depth { stroke: var(--spot); stroke-width: 1.5; stroke-dasharray: 2 2; }
.ruler .active rect { fill: var(--focus); fill-opacity: .22; }
.rail-note { margin: 0; padding: .4rem .8rem; height: 5.6rem; overflow: auto; border-top: 1px solid var(--edge); color: var(--quiet); font-size: .8rem; }
.rail-note b { color: var(--ink); }
.plot { width: 100%; height: 8.5rem; display: block; }
.plot text { fill: var(--quiet); font-size: 11px; }
.plot .grid { stroke: var(--grid); }
.plot .line { fill: none; stroke: var(--curve-edge); stroke-width: 1.5; }
.plot .here { stroke: var(--held); stroke-width: 1.5; }
.panel input[type=range] { flex: 1; accent-color: var(--accent); padding: 0; }
.row { display: flex; flex-wrap: wrap; gap: .4rem .8rem; align-items: center; }
.crops { display: grid; grid-template-columns: repeat(auto-fill, minmax(6.4rem, 1fr)); gap: .4rem; padding: .2rem; margin: .3rem 0; }
.crop { display: grid; gap: .1rem; padding: .25rem; text-align: left; align-content: start; min-width: 0; }
.crop img { width: 100%; height: 6rem; object-fit: contain; background: var(--surround); }
.crop small { white-space: normal; font-size: .75rem; color: var(--quiet); }
.crop small.file { white-space: nowrap; }
.crop[aria-pressed=true] { outline: 3px solid var(--accent); }
.crop[aria-pressed=true] .who::before { content: "\\2713 "; }
#panel select { max-width: 8.6rem; }
#panel .field input[type=number] { width: 3.8rem; }
.quantities { display: grid; grid-template-columns: auto minmax(0, 1fr); gap: .1rem .8rem; margin: 0 0 .4rem; font-variant-numeric: tabular-nums; }
.panel .remark { color: var(--quiet); font-size: .8rem; }
.keeper input { flex: 1; min-width: 6rem; }
[data-measure] .what { flex: 1; }
.mends { list-style: none; margin: .3rem 0; padding: 0; }
.mends li { display: flex; gap: .5rem; align-items: center; padding: .15rem 0; border-bottom: 1px solid var(--row); }
.mends li.dropped .what { text-decoration: line-through; color: var(--quiet); }
.mends input[type=text] { flex: 1; min-width: 4rem; }
dialog { background: var(--panel); color: var(--ink); border: 1px solid var(--edge); border-radius: 4px; max-width: 40rem; }
dialog dl { display: grid; grid-template-columns: max-content 1fr; gap: .3rem 1rem; }
dt { color: var(--quiet); }
dd { margin: 0; }
@media (max-width: 50rem) {
  body { grid-template: auto minmax(0, 1fr) minmax(0, 15rem) / minmax(0, 1fr); }
  .side { border-left: 0; border-top: 1px solid var(--edge); }
  .rail-note { display: none; }
  body:has(.panel[data-tool=mend]:not([hidden])) { grid-template-rows: auto minmax(0, 1fr) minmax(0, 20rem); }
  .choices { flex-wrap: wrap; row-gap: .2rem; }
  .bar .choices { order: 1; }
  .bar { gap: .3rem .6rem; }
  .bar h1 { flex: 1; }
  .bar .gap { display: none; }
  .choices button { padding: .2rem .35rem; font-size: .8rem; }
  .corner { top: 3.9rem; max-width: calc(100% - 1.4rem); }
  /* Over the ruler: about a small picture there is no room beside the buttons. */
  .notice { position: fixed; top: auto; bottom: .7rem; max-width: calc(100% - 1.4rem); z-index: 1; }
  /* A tool takes the room of the ruler. */
  .side:has(.panel:not([hidden])) .rail { display: none; }
  .side .panel { height: auto; min-height: 0; border-top: 0; grid-row: 1 / -1; }
}
`;

import { verdictColours } from '../markup/verdict-style.js';

/**
 * What all pages that are served have in common, in dark and light as the system is set: neutral greys, so that the
 * picture alone has colour; one accent; controls that are fit for touch. --surround is what lies about a picture.
 */
export const baseStyle = `
:root { color-scheme: dark light; --ground: #161719; --panel: #212326; --edge: #43474d; --ink: #eceae5; --quiet: #b3b1aa; --off: #9a9b9d; --control: #2c2f33; --control-edge: #757a82; --hover: #3a3e44; --chosen: #e4e1d9; --chosen-ink: #17181a; --accent: #ffc857; --accent-hover: #ffdb8f; --accent-ink: #1b1400; --focus: #9fd0ff; --glass: rgb(22 23 25 / .88); --surround: #101113; --notice: #f3e9cf; --notice-ink: #1b1400; --axis: #8b8f95; --tick: #9a9ea4; --spot: #fff; --held: #ffc857; --curve: #5f7f9e; --curve-edge: #b9d6f2; --grid: #3a3e44; --row: #33373c; ${verdictColours.dark} }
@media (prefers-color-scheme: light) {
  :root { --ground: #e9e9e7; --panel: #f4f4f2; --edge: #bcbcb8; --ink: #1c1d1f; --quiet: #55575a; --off: #6d6f72; --control: #fcfcfb; --control-edge: #85878a; --hover: #e4e4e1; --chosen: #34373b; --chosen-ink: #fff; --accent: #8a5a00; --accent-hover: #6f4800; --accent-ink: #fff; --focus: #0b57a4; --glass: rgb(248 248 246 / .92); --surround: #c8c8c6; --notice: #fff1d6; --notice-ink: #1b1400; --axis: #74777b; --tick: #6b6e72; --spot: #000; --held: #8a5a00; --curve: #9db8d2; --curve-edge: #2a5b8a; --grid: #d5d5d2; --row: #d9d9d6; ${verdictColours.light} }
}
* { box-sizing: border-box; }
[hidden] { display: none !important; }
h1, h2 { font-size: 1rem; font-weight: 600; margin: 0; }
button, select, input { font: inherit; color: inherit; background: var(--control); border: 1px solid var(--control-edge); border-radius: 3px; padding: .25rem .6rem; min-height: 1.9rem; }
select { max-width: 100%; }
button { cursor: pointer; }
button:hover:not(:disabled) { background: var(--hover); }
button:disabled { color: var(--off); cursor: default; }
button.main { background: var(--accent); border-color: var(--accent); color: var(--accent-ink); font-weight: 600; }
button.main:hover:not(:disabled) { background: var(--accent-hover); }
button.main:disabled { background: var(--control); border-color: var(--control-edge); color: var(--off); }
:focus-visible { outline: 2px solid var(--focus); outline-offset: 1px; }
.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); white-space: nowrap; }
.field { display: inline-flex; gap: .35rem; align-items: center; color: var(--quiet); }
.field input, .field select { color: var(--ink); }
.field input[type=number] { width: 4.4rem; }
input[type=checkbox], input[type=radio] { width: 1.1rem; height: 1.1rem; min-height: 0; accent-color: var(--accent); }
.choices { display: inline-flex; }
.choices button { border-radius: 0; margin-left: -1px; padding: .25rem .55rem; }
.choices button:first-child { border-radius: 3px 0 0 3px; }
.choices button:last-child { border-radius: 0 3px 3px 0; }
.choices button[aria-checked=true] { background: var(--chosen); color: var(--chosen-ink); font-weight: 600; }
`;

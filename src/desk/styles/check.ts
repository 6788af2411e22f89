import { checkPartsStyle } from '../../check/page-parts-style.js';
import { verdictStyle } from '../../markup/verdict-style.js';

/** Rules of the check screen, and of the parts that it shares with the page of a check. */
export const checkStyle = `${verdictStyle}${checkPartsStyle}
.of-check { --line: var(--grid); }
.of-check .verdict { margin: .6rem 0 .4rem; max-width: none; }
.of-check .frames { display: flex; gap: .3rem; overflow-x: auto; padding: .3rem .2rem .5rem; margin: 0 -.2rem; scroll-behavior: smooth; }
.of-check .frames [role=option] { flex: none; cursor: pointer; text-align: center; font-size: .8rem; border: 2px solid transparent; border-radius: 4px; padding: 2px 2px 0; font-variant-numeric: tabular-nums; color: var(--quiet); }
.of-check .frames [role=option]:hover { background: var(--hover); }
.of-check .frames [aria-selected=true] { border-color: var(--ink); color: var(--ink); }
.of-check .shot { display: block; position: relative; height: 96px; min-width: 72px; background: var(--surround); border-radius: 2px; overflow: hidden; }
.of-check .shot img { display: block; height: 96px; width: auto; }
.of-check .number { display: block; border-bottom: .25rem solid transparent; }
.of-check .named .number { border-color: var(--spoil); }
.of-check .pointed .shot { outline: 3px solid var(--accent); outline-offset: -3px; }
.of-check .left-out img, .of-check .left-out .spot { opacity: .25; }
.of-check .left-out .number { text-decoration: line-through; }
.of-check .left-out .shot::after { content: "left out"; position: absolute; inset: auto 0 0; background: var(--glass); color: var(--ink); }
.of-check .judged { display: grid; grid-template-columns: minmax(0, 1fr) minmax(18rem, 40%); gap: 0 2.4rem; align-items: start; }
.of-check .judged h2 { margin: 1rem 0 .5rem; }
.of-check .chosen { position: sticky; top: 0; padding-top: 1rem; }
.of-check .chosen .view { min-height: 8rem; line-height: 0; width: fit-content; max-width: 100%; margin: 0 auto; }
.of-check .chosen .view img { max-height: 52vh; width: auto; max-width: 100%; }
.of-check .chosen dl { display: grid; grid-template-columns: max-content minmax(0, 1fr); gap: .1rem 1rem; margin: .4rem 0 .8rem; font-variant-numeric: tabular-nums; }
.of-check .chosen h2 { overflow-wrap: anywhere; }
.of-check .chosen h2 .quiet { font-weight: 400; }
.verdict-list { list-style: none; margin: 0; padding: 0; }
.verdict-list li { border-top: 1px solid var(--row); padding: .7rem 0; }
.verdict-list li.settled > p { color: var(--quiet); }
.verdict-list .head { display: flex; flex-wrap: wrap; gap: .2rem .8rem; align-items: center; }
.verdict-list p { margin: .2rem 0; overflow-wrap: anywhere; }
.screen .verdict-list .plain { background: none; border: 0; padding: .2rem .3rem; min-height: 1.9rem; color: var(--focus); text-decoration: underline; text-underline-offset: .2em; }
.verdict-list .fixes { margin-top: .5rem; }
.of-check button[aria-pressed=true] { background: var(--chosen); border-color: var(--chosen); color: var(--chosen-ink); font-weight: 600; }
.of-check button[aria-pressed=true]::before { content: "\\2713 "; }
.of-check .measured { margin-top: 1rem; border-top: 1px solid var(--row); padding-top: .6rem; }
.of-check .measured summary { font-weight: 600; cursor: pointer; padding: .2rem 0; }
.of-check figure.plot { margin: 0 0 1rem; }
.of-check .wide { overflow-x: auto; }
.of-check table { border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums; }
.of-check th, .of-check td { text-align: right; padding: .2rem .6rem; border-bottom: 1px solid var(--row); white-space: nowrap; }
.of-check th.name, .of-check td.name { text-align: left; }
.of-check .onward { position: sticky; bottom: 0; z-index: 1; display: flex; flex-wrap: wrap; gap: .5rem 1rem; align-items: center; margin: 1.4rem -1.6rem -3rem; padding: .8rem 1.6rem; background: var(--panel); border-top: 1px solid var(--edge); }
.of-check .onward p { margin: 0; flex: 1 1 14rem; }
.of-check .onward label { display: flex; gap: .5rem; align-items: center; color: var(--quiet); }
.of-check .onward input { width: 7.5rem; color: var(--ink); }
.of-check .onward .main { min-width: 7rem; justify-content: center; }
@media (max-width: 60rem) {
  .of-check .judged { grid-template-columns: minmax(0, 1fr); }
  .of-check .chosen { position: static; order: -1; }
  .of-check .chosen .view img { max-height: 40vh; }
}
@media (max-width: 50rem) {
  .of-check .onward { margin: 1.4rem -1rem -3rem; padding: .6rem 1rem; }
}
`;

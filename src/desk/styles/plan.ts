import { planDrawingStyle } from '../../plan/drawing-style.js';
import { sheetStyle } from '../../plan/sheet-style.js';

/** Rules of the plan screen; each is of `.of-plan`, but for those of its drawings and of the sheet that it prints. */
export const planStyle = `
#screen > .of-plan { max-width: 130rem; }
.of-plan { --line: var(--grid); }
.of-plan .plan { display: grid; grid-template: 'given result' auto 'given further' 1fr / minmax(18rem, 23rem) minmax(0, 1fr); gap: 0 2.6rem; align-items: start; }
.of-plan .given { grid-area: given; }
.of-plan .result { grid-area: result; }
.of-plan .further { grid-area: further; }
.of-plan fieldset { border: 0; margin: 0; padding: 0; min-width: 0; }
.of-plan .modes { display: flex; flex-wrap: wrap; margin-bottom: .8rem; gap: 1px; }
.of-plan .modes label { position: relative; }
.of-plan .modes input { position: absolute; inset: 0; opacity: 0; width: 100%; height: 100%; margin: 0; cursor: pointer; }
.of-plan .modes span { display: block; padding: .4rem .7rem; background: var(--control); border: 1px solid var(--control-edge); border-radius: 4px; }
.of-plan .modes input:hover + span { background: var(--hover); }
.of-plan .modes input:checked + span { background: var(--chosen); border-color: var(--chosen); color: var(--chosen-ink); font-weight: 600; }
.of-plan .modes input:focus-visible + span { outline: 2px solid var(--focus); outline-offset: 1px; }
.of-plan .group { padding: .7rem 0 .2rem; border-top: 1px solid var(--edge); }
.screen .of-plan .group legend { float: left; width: 100%; font-weight: 600; padding: 0; margin-bottom: .4rem; color: var(--ink); }
.of-plan .group legend + * { clear: both; }
.of-plan summary { font-weight: 600; cursor: pointer; padding: .2rem 0; }
.of-plan .asked { display: grid; grid-template-columns: minmax(0, 7.8rem) minmax(0, 1fr); gap: .1rem .8rem; align-items: center; margin-bottom: .5rem; }
.of-plan .asked > label { color: var(--quiet); }
.of-plan .asked select { width: 100%; }
.of-plan .typed { display: flex; align-items: center; gap: .4rem; }
.of-plan .typed input { width: 100%; min-width: 0; font-variant-numeric: tabular-nums; }
.of-plan .unit { color: var(--quiet); min-width: 1.8rem; }
.screen .asked input[type=range] { grid-column: 1 / -1; width: 100%; min-height: 1.6rem; padding: 0; border: 0; background: none; accent-color: var(--accent); }
.of-plan .faulty input[type=text] { border-color: var(--accent); outline: 1px solid var(--accent); }
.of-plan .hint { grid-column: 1 / -1; margin: 0; font-size: .85rem; color: var(--quiet); }
.of-plan .fault, .of-plan .remark.flaw { border-left: .25rem solid var(--flaw); padding: .3rem .9rem; background: var(--panel); }
.of-plan .stale .result > :not(.fault), .of-plan .stale .further { opacity: .45; }
.of-plan .figures { display: grid; grid-template-columns: repeat(auto-fill, minmax(8.4rem, 1fr)); gap: .6rem 1.2rem; margin: 0 0 1.2rem; }
.of-plan .figures dt { color: var(--quiet); font-size: .85rem; }
.of-plan .figures dd { margin: 0; font-variant-numeric: tabular-nums; }
.of-plan .figures strong { display: block; font-size: 1.4rem; line-height: 1.25; font-weight: 600; }
.of-plan .figures span { font-size: .85rem; color: var(--quiet); }
.of-plan .drawing { margin: 0 0 1rem; }
.of-plan .apertures { touch-action: pan-y; user-select: none; }
.of-plan .apertures .hit { cursor: ew-resize; }
.of-plan .remark:has(button) { display: flex; flex-wrap: wrap; gap: .3rem .8rem; align-items: center; max-width: none; }
.of-plan .remark > span { flex: 0 1 auto; max-width: 46rem; }
.of-plan .notes { margin: .8rem 0 1.2rem; }
.of-plan .notes p { color: var(--quiet); }
.of-plan .wide { overflow: auto; max-height: 26rem; margin-bottom: 1rem; }
.of-plan table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
.of-plan thead th { position: sticky; top: 0; background: var(--ground); }
.of-plan th, .of-plan td { text-align: right; padding: .2rem 1rem .2rem 0; border-bottom: 1px solid var(--row); }
@media (max-width: 50rem) {
  .of-plan .plan { grid-template: 'result' auto 'given' auto 'further' auto / minmax(0, 1fr); }
  .of-plan .figures { grid-template-columns: repeat(3, minmax(0, 1fr)); gap: .3rem .8rem; margin-bottom: .5rem; }
  .of-plan .figures strong { font-size: 1.1rem; }
  .of-plan .figures dt { font-size: .75rem; }
  .of-plan .figures > :nth-child(n+7) { display: none; }
  .of-plan .figures span { display: none; }
  .of-plan .drawing { margin-bottom: .4rem; }
}
/* While a value is dragged on a small screen, what follows from it stays in sight. */
@media (max-width: 50rem) and (min-height: 40rem) {
  .of-plan .result { position: sticky; top: -1px; z-index: 1; background: var(--ground); border-bottom: 1px solid var(--edge); margin: 0 -1rem .8rem; padding: .8rem 1rem 0; }
}
${planDrawingStyle}${sheetStyle}
@media screen { .for-print { display: none; } }
@media print {
  body:has(> .for-print) > :not(.for-print) { display: none; }
  html:has(.for-print), body:has(> .for-print) { display: block; height: auto; background: #fff; }
}
`;

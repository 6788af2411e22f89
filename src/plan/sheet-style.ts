/** Style of a sheet within an element of class `sheet`: black on white, in dark pages too, for it goes to paper. */
export const sheetStyle = `
.sheet { --ink: #111; --quiet: #444; --line: #bbb; --flaw: #8f4700; --a: #0b57a4; --b: #8f4700; color: var(--ink); background: #fff; font: 1rem/1.4 system-ui, sans-serif; }
.sheet h1 { font-size: 1.4rem; margin: 0 0 .5rem; }
.sheet h2 { font-size: 1.15rem; margin: 1.2rem 0 .5rem; }
.sheet pre { font-size: .8rem; white-space: pre-wrap; border: 1px solid var(--line); padding: .6rem; }
.sheet .warning { border-left: .3rem solid var(--flaw); padding: .2rem .8rem; }
.sheet .caution { font-size: .85rem; border: 1px solid var(--ink); padding: .4rem .8rem; margin-bottom: .8rem; }
.sheet .caution ul { margin: .2rem 0; padding-left: 1.2rem; }
.sheet table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
.sheet th, .sheet td { border-bottom: 1px solid var(--line); padding: .25rem .6rem; text-align: right; }
.sheet thead { display: table-header-group; }
.sheet tr, .sheet svg { break-inside: avoid; }
.sheet tbody tr:nth-child(5n) td { border-bottom-color: var(--ink); }
.sheet .box { display: inline-block; width: 1em; height: 1em; border: 1.5px solid var(--ink); vertical-align: -.15em; }
.sheet svg { max-width: 46rem; print-color-adjust: exact; }
.sheet .hit { display: none; }
`;

/**
 * Style of the drawings of a plan, on the sheet and on the desk. The page gives the colours: --ink, --quiet, --line,
 * --flaw, and --a and --b for lines of plots.
 */
export const planDrawingStyle = `
.slabs, .apertures { display: block; width: 100%; height: auto; font-size: 12px; font-variant-numeric: tabular-nums; }
.slabs text, .apertures text { fill: var(--quiet); }
.slabs .title, .apertures .title { fill: var(--ink); font-weight: 600; }
.apertures .title .quiet { fill: var(--quiet); font-weight: 400; }
.slabs .slab { fill-opacity: .62; }
.slabs .faint { opacity: .16; }
.slabs .outline, .slabs .edge { fill: none; stroke: var(--ink); stroke-opacity: .55; }
.slabs .ticks, .slabs .axis, .slabs .dimension { fill: none; stroke: var(--quiet); }
.slabs .focus { stroke: var(--ink); stroke-width: 1.5; stroke-dasharray: 3 2; }
.slabs .overlap { fill: var(--quiet); fill-opacity: .16; }
.slabs .gap { fill: none; stroke: var(--flaw); stroke-width: 1.5; stroke-dasharray: 4 3; }
.apertures .grid { stroke: var(--line); }
.apertures .limit { stroke: var(--quiet); stroke-dasharray: 5 4; }
.apertures .soft { fill: var(--line); fill-opacity: .35; }
.apertures path { fill: none; stroke-width: 2; }
.apertures path.line-a { stroke: var(--a); }
.apertures path.line-b { stroke: var(--b); }
.apertures line.here { stroke: var(--ink); }
.apertures circle.here { fill: var(--ink); }
.apertures .hit { fill: transparent; }
.apertures .hit:hover { fill: var(--quiet); fill-opacity: .14; }
`;

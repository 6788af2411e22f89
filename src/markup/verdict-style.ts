/**
 * Colours of verdicts and of lines in plots, the same on every page, for the style of its root in light and in dark: what
 * is fit, what spoils and what is a flaw, on the page and as ground of a whole line; the band of what is named; and --a and
 * --b for the lines of a plot. Each is readable as text on the grounds of all pages.
 */
export const verdictColours = {
  light:
    '--fit: #236b41; --fit-paper: #e2efe7; --spoil: #b3261e; --spoil-paper: #fbe6e4; --flaw: #8f4700; --flaw-paper: #fff1d6; --band: #f0d49a; --a: #0b57a4; --b: #8f4700;',
  dark: '--fit: #7fd6a2; --fit-paper: #16291d; --spoil: #ff8a80; --spoil-paper: #3b1816; --flaw: #f0b45a; --flaw-paper: #3a2c10; --band: #4d3d17; --a: #8fc1ff; --b: #f0b45a;',
} as const;

/** Style of a verdict on the whole, and of the rank of a finding, on every page. */
export const verdictStyle = `
.verdict { font-size: 1.15rem; font-weight: 600; padding: .6rem 1rem; border-left: .4rem solid var(--fit); background: var(--fit-paper); overflow-wrap: anywhere; }
.verdict.unfit { border-color: var(--spoil); background: var(--spoil-paper); }
.rank { display: inline-block; padding: 0 .5rem; border: 1px solid currentColor; border-radius: 1rem; font-size: .85rem; }
.rank.spoils { color: var(--spoil); font-weight: 700; }
.rank.flaw { color: var(--flaw); }
.rank.note { color: var(--quiet); }
.advice { color: var(--quiet); }
`;

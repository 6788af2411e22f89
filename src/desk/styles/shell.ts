/** The frame of the desk: the bar with the screens and the work in hand, and below it one screen. */
export const shellStyle = `
html, body { height: 100%; margin: 0; }
body { display: grid; grid-template: auto minmax(0, 1fr) / minmax(0, 1fr); background: var(--ground); color: var(--ink); font: .9375rem/1.5 system-ui, sans-serif; }
.skip { position: absolute; left: .5rem; top: -4rem; z-index: 9; background: var(--panel); color: var(--ink); padding: .5rem 1rem; }
.skip:focus { top: .5rem; }
.top { display: flex; align-items: center; gap: .2rem 1.4rem; padding: 0 1.2rem; min-height: 3rem; background: var(--panel); border-bottom: 1px solid var(--edge); }
.brand { margin: 0; font-weight: 650; letter-spacing: .02em; }
.nav { display: flex; gap: .1rem; overflow-x: auto; scrollbar-width: none; align-self: stretch; }
.nav a { display: flex; align-items: center; padding: 0 .8rem; min-height: 3rem; color: var(--quiet); text-decoration: none; border-bottom: 3px solid transparent; border-top: 3px solid transparent; white-space: nowrap; }
.nav a:hover { color: var(--ink); }
.nav a:focus-visible { outline-offset: -3px; }
.nav a[aria-current=page] { color: var(--ink); border-bottom-color: var(--accent); font-weight: 600; }
.work { margin-left: auto; min-width: 0; }
.work a { display: flex; align-items: center; gap: .5rem; color: var(--ink); text-decoration: none; min-height: 2.4rem; }
.work progress { width: 5rem; }
.work-name { max-width: 11rem; overflow: hidden; text-overflow: ellipsis; white-space: nowrap; }
.lost { color: var(--notice-ink); background: var(--notice); padding: .2rem .6rem; border-radius: 3px; }
.screen { overflow: auto; outline-offset: -3px; scrollbar-gutter: stable; }
.screen:focus { outline: none; }
.screen > div { padding: 1.4rem 1.6rem 3rem; max-width: 96rem; margin: 0 auto; }
.toast { position: fixed; left: 50%; bottom: 1.2rem; transform: translateX(-50%); z-index: 8; max-width: min(40rem, 100% - 2rem); padding: .6rem 1.1rem; background: var(--notice); color: var(--notice-ink); border-radius: 4px; box-shadow: 0 2px 12px rgb(0 0 0 / .35); overflow-wrap: anywhere; }
/* On screens that are large and not magnified everything grows with them, the picture first. */
@media (min-width: 2400px) { html { font-size: 130%; } }
@media (min-width: 3200px) { html { font-size: 170%; } }
@media (max-width: 50rem) {
  .top { flex-wrap: wrap; padding: 0; gap: 0; }
  .brand { display: none; }
  .nav { flex: 1 0 100%; padding: 0 .4rem; mask-image: linear-gradient(to right, transparent, #000 1.2rem, #000 calc(100% - 2rem), transparent); }
  .nav a { padding: 0 .7rem; min-height: 2.9rem; }
  .work { margin: 0; padding: 0 1rem; }
  .screen > div { padding: 1rem 1rem 3rem; }
}
`;

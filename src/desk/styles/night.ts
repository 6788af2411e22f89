/** Rules of the night screen. */
export const nightStyle = `
.earlier { border-left: 3px solid var(--accent); padding-left: .8rem; }
.order, .night { list-style: none; margin: 1rem 0; padding: 0; border-top: 1px solid var(--row); max-width: 60rem; }
.order li { display: flex; align-items: center; gap: .9rem; border-bottom: 1px solid var(--row); padding: .4rem .2rem; }
.order li > input { flex: none; }
.order label { display: flex; gap: .9rem; align-items: center; flex: 1; min-width: 0; cursor: pointer; }
.small { flex: none; width: 5rem; height: 3.4rem; background: var(--surround); border-radius: 3px; overflow: hidden; }
.small img { width: 100%; height: 100%; object-fit: cover; display: block; }
.words { display: flex; flex-wrap: wrap; gap: 0 1rem; justify-content: space-between; flex: 1; min-width: 0; }
.words .name { overflow-wrap: anywhere; min-width: 0; }
.moves { display: flex; gap: .2rem; }
.screen .moves button { min-width: 2.4rem; padding: .2rem; }
.terms { max-width: 34rem; display: grid; gap: .8rem; margin-top: 1.4rem; }
.terms .length input { width: 8rem; }
.going { max-width: 34rem; margin: 1rem 0 1.6rem; }
.night li { display: grid; grid-template-columns: auto minmax(0, 1fr) auto; gap: .3rem 1.1rem; padding: .8rem .2rem; border-bottom: 1px solid var(--row); align-items: start; }
.night li.failed { border-left: 3px solid var(--spoil); padding-left: .8rem; }
.night p { margin: .1rem 0; overflow-wrap: anywhere; }
.night h3 { overflow-wrap: anywhere; }
.night .waiting img, .night .running img { filter: saturate(.6) brightness(.8); }
.night details ul { margin: .3rem 0; padding-left: 1.2rem; }
.night summary { cursor: pointer; }
.night .small { width: 8rem; height: 5.4rem; }
@media (max-width: 50rem) {
  .order .small { width: 3.6rem; height: 2.6rem; }
  .night .small { width: 5rem; height: 3.6rem; }
}
`;

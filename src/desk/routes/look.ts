import { objectShape, textShape } from '../../result/shape.js';
import { jsonAnswer } from '../../view/local-server.js';
import { type DeskRoutes, shaped } from '../route.js';
import { resultAt } from '../stack-facts.js';

const folderShape = objectShape<{ folder: string }>({ folder: textShape() });

export const lookRoutes: DeskRoutes = {
  'GET /api/results': async (desk) => {
    const made = desk.jobs
      .list()
      .flatMap(({ kind, state, out }) => (kind === 'merge' && state === 'done' && out ? [out] : []));
    const folders = [...new Set([...made, ...desk.results.known().reverse()])];
    const results = await Promise.all(folders.map(resultAt));
    return jsonAnswer(results.filter((result) => result !== undefined));
  },
  'POST /api/look': async (desk, { body }) => {
    const folder = await desk.roots.within(shaped(body, folderShape).folder);
    const name = desk.results.nameOf(folder);
    // What is no result is refused here, with a reason, and not by a page that does not come.
    await desk.results.viewer(name);
    return jsonAnswer({ address: `look/${name}/` });
  },
};

import { resolveCheckOptions } from '../../check/check-options.js';
import { anyObjectShape, objectShape, textShape } from '../../result/shape.js';
import { jsonAnswer } from '../../view/local-server.js';
import { checkOrder, checkView, latestCheck, optionsOf, stripPicture } from '../check-job.js';
import type { CheckChoices } from '../protocol.js';
import { type DeskRoutes, required, shaped } from '../route.js';

const orderShape = objectShape<{ folder: string; choices: CheckChoices }>({
  folder: textShape(),
  choices: anyObjectShape<CheckChoices>(),
});

export const checkRoutes: DeskRoutes = {
  'POST /api/check': async (desk, { body }) => {
    const { folder, choices } = shaped(body, orderShape);
    // Refused at once, not by the process.
    resolveCheckOptions(optionsOf(choices));
    const path = await desk.roots.within(folder);
    return jsonAnswer(desk.jobs.start(checkOrder(path, choices)));
  },
  /** The latest check of a folder: the number of its job, or null. */
  'GET /api/check/latest': async (desk, { query }) => {
    const id = latestCheck(await desk.roots.within(required(query, 'folder')));
    return jsonAnswer({ id: id ?? null });
  },
  'GET /api/check': async (_desk, { query }) => jsonAnswer(checkView(Number(required(query, 'job'))) ?? null),
  'GET /strip': async (_desk, { query }) => {
    const body = stripPicture(Number(required(query, 'job')), Number(required(query, 'frame')));
    return body
      ? { status: 200, type: 'image/jpeg', body, isLasting: true }
      : { status: 404, message: 'There is no picture of this frame.' };
  },
};

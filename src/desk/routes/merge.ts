import { dirname, join } from 'node:path';
import { resolveOptions } from '../../options/resolve-merge-options.js';
import { anyObjectShape, booleanShape, objectShape, textShape } from '../../result/shape.js';
import type { GivenOrder } from '../../stack/capture-order.js';
import { jsonAnswer } from '../../view/local-server.js';
import { chosenOptions } from '../merge-choices.js';
import { mergeForm } from '../merge-form.js';
import { jobPicture, mergeOrder } from '../merge-job.js';
import type { MergeChoices, MergeOrder } from '../protocol.js';
import { type DeskRoutes, required, shaped } from '../route.js';

const orderShape = objectShape<MergeOrder>({
  folder: textShape(),
  choices: anyObjectShape<MergeChoices>(),
  replace: booleanShape,
  previewFirst: booleanShape,
});

export const mergeRoutes: DeskRoutes = {
  'GET /api/merge/form': async (desk, { query }) =>
    jsonAnswer(
      await mergeForm(await desk.roots.within(required(query, 'folder')), givenOrder(query.get('order'))),
    ),
  'POST /api/merge': async (desk, { body }) => {
    const order = shaped(body, orderShape);
    const folder = await desk.roots.within(order.folder);
    const form = await mergeForm(folder);
    const replaces = form.freeOut === null || order.replace;
    const out = join(dirname(folder), replaces ? form.out : (form.freeOut ?? form.out));
    const options = resolveOptions({ ...chosenOptions(order.choices), overwrite: order.replace });
    const { preview, estimateS } = form;
    const look = order.previewFirst && preview ? { ...preview, mergeS: estimateS } : null;
    return jsonAnswer(desk.jobs.start(mergeOrder(desk, { folder, out, options, look })));
  },
  'GET /picture': async (_desk, { query }) => {
    const body = jobPicture(Number(required(query, 'job')));
    return body
      ? { status: 200, type: 'image/jpeg', body, isLasting: true }
      : { status: 404, message: 'There is no picture yet.' };
  },
};

function givenOrder(text: string | null): GivenOrder | undefined {
  return text === 'time' || text === 'name' ? text : undefined;
}

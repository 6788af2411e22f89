import { dirname, join } from 'node:path';
import { InputError } from '../../errors.js';
import { resolveOptions } from '../../options/resolve-merge-options.js';
import { isWithin } from '../../result/path-within.js';
import { anyObjectShape, booleanShape, nullableShape, objectShape, textShape } from '../../result/shape.js';
import type { GivenOrder } from '../../stack/capture-order.js';
import { jsonAnswer } from '../../view/local-server.js';
import { chosenOptions } from '../merge-choices.js';
import { freePath, mergeForm } from '../merge-form.js';
import { jobPicture, mergeOrder } from '../merge-job.js';
import type { MergeChoices, MergeOrder } from '../protocol.js';
import { type DeskRoutes, required, shaped } from '../route.js';

const orderShape = objectShape<MergeOrder>({
  folder: textShape(),
  choices: anyObjectShape<MergeChoices>(),
  into: nullableShape(textShape()),
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
    const parent = order.into === null ? dirname(folder) : await desk.roots.within(order.into);
    if (isWithin(parent, folder)) {
      throw new InputError(
        'Nothing is written into the folder of the photographs: choose another one for the result.',
      );
    }
    const place = join(parent, form.out);
    const out = order.replace ? place : freePath(place);
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

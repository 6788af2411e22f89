import { existsSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { resolveBatch } from '../../batch/batch-options.js';
import { nightListName } from '../../batch/night-events.js';
import { InputError } from '../../errors.js';
import { isWithin } from '../../result/path-within.js';
import { anyObjectShape, listShape, nullableShape, objectShape, textShape } from '../../result/shape.js';
import { jsonAnswer } from '../../view/local-server.js';
import type { Desk } from '../desk.js';
import { chosenOptions } from '../merge-choices.js';
import { nightOrder } from '../night-job.js';
import { earlierOptions, nightForm, nightOut, nightView } from '../night-view.js';
import { deskName } from '../option-labels.js';
import type { NightOrder } from '../protocol.js';
import { type DeskRoutes, required, shaped } from '../route.js';

const orderShape = objectShape<NightOrder>({
  folder: textShape(),
  into: nullableShape(textShape()),
  stacks: listShape(textShape()),
  until: nullableShape(textShape()),
  choices: anyObjectShape<NightOrder['choices']>(),
});

/** Merges of a night give way to what somebody does at the machine. */
const nice = 10;

export const nightRoutes: DeskRoutes = {
  'GET /api/night/form': async (desk, { query, gone }) => {
    const folder = await desk.roots.within(required(query, 'folder'));
    return jsonAnswer(await nightForm(folder, await outOf(desk, folder, query.get('into')), gone));
  },
  // Null before the stacks have been looked for.
  'GET /api/night': async (desk, { query }) => {
    const out = required(query, 'out');
    if (!existsSync(join(out, nightListName)) && desk.roots.contains(resolve(out))) return jsonAnswer(null);
    return jsonAnswer(await nightView(await desk.roots.within(out)));
  },
  'POST /api/night': async (desk, { body }) => {
    const { folder, into, stacks, until, choices } = shaped(body, orderShape);
    if (stacks.length === 0) throw new InputError('No stack is ticked: tick at least one.');
    const root = await desk.roots.within(folder);
    const out = await outOf(desk, root, into);
    const { stepMm: _, fieldWidthMm: __, ...earlier } = await earlierOptions(out);
    const options = {
      ...{ out, only: stacks, nice, merge: { ...earlier, ...chosenOptions(choices) } },
      ...(until !== null && { until }),
    };
    resolveBatch(root, options);
    if (desk.jobs.list().some((job) => job.kind === 'night' && job.out === out && job.endedAt === null)) {
      throw new InputError(`The night over ${root} is running already.`);
    }
    return jsonAnswer(desk.jobs.start(nightOrder(desk, { root, options }, out)));
  },
};

async function outOf(desk: Desk, folder: string, into: string | null): Promise<string> {
  const place = into === null ? null : await desk.roots.within(into);
  if (place !== null && isWithin(place, folder)) {
    throw new InputError(
      `Nothing is written into the folder of the stacks: choose another one for ${deskName('out')}.`,
    );
  }
  return nightOut(folder, place);
}

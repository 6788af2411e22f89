import { nullableShape, numberShape, objectShape, textShape, wholeShape } from '../../result/shape.js';
import { maxFrames } from '../../stack/frame-limit.js';
import { jsonAnswer } from '../../view/local-server.js';
import { resolveWatchOptions } from '../../watch/watch-options.js';
import type { ShootOrder } from '../protocol.js';
import { type DeskRoutes, required, shaped } from '../route.js';
import { shootView, watchOrder } from '../watch-job.js';

const orderShape = objectShape<ShootOrder>({
  folder: textShape(),
  stepMm: nullableShape(numberShape()),
  plannedFrames: nullableShape(wholeShape(1, maxFrames)),
});

export const shootRoutes: DeskRoutes = {
  'GET /api/shoot': async (_desk, { query }) => {
    const view = shootView(Number(required(query, 'job')));
    return view ? jsonAnswer(view) : { status: 404, message: 'This watch is no longer listed.' };
  },
  'POST /api/shoot': async (desk, { body }) => {
    const order = shaped(body, orderShape);
    const folder = await desk.roots.within(order.folder);
    const { stepMm, plannedFrames } = order;
    // Refused here rather than by the process.
    resolveWatchOptions({
      ...(stepMm !== null && { stepMm }),
      ...(plannedFrames !== null && { plannedFrames }),
    });
    const running = desk.jobs
      .list()
      .find((job) => job.kind === 'watch' && job.endedAt === null && job.folder === folder);
    return jsonAnswer(running ?? desk.jobs.start(watchOrder(desk, { ...order, folder })));
  },
};

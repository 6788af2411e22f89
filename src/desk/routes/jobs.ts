import { objectShape, wholeShape } from '../../result/shape.js';
import { jsonAnswer } from '../../view/local-server.js';
import { type DeskRoutes, shaped } from '../route.js';

const idShape = objectShape<{ id: number }>({ id: wholeShape(1) });

export const jobRoutes: DeskRoutes = {
  'GET /events': async (desk) => desk.events.open(() => [['jobs', desk.jobs.list()]]),
  'GET /api/jobs': async (desk) => jsonAnswer(desk.jobs.list()),
  'POST /api/jobs/cancel': async (desk, { body }) =>
    jsonAnswer({ cancelled: desk.jobs.cancel(shaped(body, idShape).id) }),
};

import { jsonAnswer } from '../../view/local-server.js';
import { planValuesShape } from '../kept-plan.js';
import { type DeskRoutes, shaped } from '../route.js';

/** The plan at hand, which a page leaves and finds again. */
export const planRoutes: DeskRoutes = {
  'GET /api/plan': async (desk) => jsonAnswer(desk.plan),
  'POST /api/plan': async (desk, { body }) => {
    desk.plan = shaped(body, planValuesShape);
    return jsonAnswer(desk.plan);
  },
};

import { mapShape, textShape } from '../../result/shape.js';
import { jsonAnswer } from '../../view/local-server.js';
import { type DeskRoutes, shaped } from '../route.js';

/** Texts of the fields of a plan by their names, as the page has them. */
const valuesShape = mapShape(textShape(/^.{0,200}$/s, 'a text of at most 200 characters'));

/** The plan at hand, which a page leaves and finds again, for as long as the desk runs. */
export const planRoutes: DeskRoutes = {
  'GET /api/plan': async (desk) => jsonAnswer(desk.plan),
  'POST /api/plan': async (desk, { body }) => {
    desk.plan = shaped(body, valuesShape);
    return jsonAnswer(desk.plan);
  },
};

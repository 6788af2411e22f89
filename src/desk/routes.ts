import type { DeskRoute, DeskRoutes } from './route.js';
import { checkRoutes } from './routes/check.js';
import { guideRoutes } from './routes/guide.js';
import { jobRoutes } from './routes/jobs.js';
import { lookRoutes } from './routes/look.js';
import { mergeRoutes } from './routes/merge.js';
import { nightRoutes } from './routes/night.js';
import { placesRoutes } from './routes/places.js';
import { planRoutes } from './routes/plan.js';
import { shootRoutes } from './routes/shoot.js';

/** The routes of every screen. */
const all: readonly DeskRoutes[] = [
  jobRoutes,
  placesRoutes,
  planRoutes,
  shootRoutes,
  checkRoutes,
  mergeRoutes,
  lookRoutes,
  nightRoutes,
  guideRoutes,
];

/** Routes by path, then by method. */
export const deskRoutes: Record<string, Record<string, DeskRoute> | undefined> = {};
for (const routes of all) {
  for (const [name, route] of Object.entries(routes)) {
    const [method, path] = name.split(' ');
    deskRoutes[path] = { ...deskRoutes[path], [method]: route };
  }
}

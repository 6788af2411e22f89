import type { DeskRoutes } from '../route.js';

export const placesRoutes: DeskRoutes = {};

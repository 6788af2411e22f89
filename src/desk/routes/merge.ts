import type { DeskRoutes } from '../route.js';

export const mergeRoutes: DeskRoutes = {};

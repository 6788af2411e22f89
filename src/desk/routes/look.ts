import type { DeskRoutes } from '../route.js';

export const lookRoutes: DeskRoutes = {};

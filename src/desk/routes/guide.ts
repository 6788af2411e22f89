import type { DeskRoutes } from '../route.js';

export const guideRoutes: DeskRoutes = {};

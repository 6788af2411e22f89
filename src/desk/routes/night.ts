import type { DeskRoutes } from '../route.js';

export const nightRoutes: DeskRoutes = {};

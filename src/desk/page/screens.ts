import type { Screen } from './screen.js';
import { checkScreen } from './screens/check.js';
import { guideScreen } from './screens/guide.js';
import { lookScreen } from './screens/look.js';
import { mergeScreen } from './screens/merge.js';
import { nightScreen } from './screens/night.js';
import { placesScreen } from './screens/places.js';
import { planScreen } from './screens/plan.js';
import { shootScreen } from './screens/shoot.js';

/** In the order of the work; the first is shown at the start. */
export const screens: readonly Screen[] = [
  placesScreen,
  planScreen,
  shootScreen,
  checkScreen,
  mergeScreen,
  lookScreen,
  nightScreen,
  guideScreen,
];

import { showFailure } from '../notice.js';
import type { Screen } from '../screen.js';

export const planScreen: Screen = {
  title: 'Plan',
  path: 'plan',
  guide: 'planning',
  mount(element, context) {
    // Its formulas are loaded when they are asked for: the desk itself does not wait for them.
    import('../plan/plan-screen.js').then(({ mountPlan }) => mountPlan(element, context)).catch(showFailure);
  },
};

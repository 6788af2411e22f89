import { showFailure } from '../notice.js';
import type { Screen } from '../screen.js';

export const checkScreen: Screen = {
  title: 'Check',
  path: 'check',
  guide: 'checking',
  mount(element, context) {
    import('../check/check-screen.js')
      .then(({ mountCheck }) => mountCheck(element, context))
      .catch(showFailure);
  },
};

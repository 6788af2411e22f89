import * as blend from '../../src/model/constants/blend.js';
import * as focus from '../../src/model/constants/focus.js';
import * as model from '../../src/model/constants/model.js';
import * as state from '../../src/model/constants/state.js';
import * as surface from '../../src/model/constants/surface.js';

const constants = { ...state, ...model, ...focus, ...surface, ...blend };

/** Numbers that are tuned on pictures, as the model states them: tests hold the formulas. */
export function tuned(
  name: {
    [K in keyof typeof constants]: (typeof constants)[K] extends number ? K : never;
  }[keyof typeof constants],
): number {
  return constants[name];
}

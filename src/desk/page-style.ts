import { baseStyle } from '../view/base-style.js';
import { checkStyle } from './styles/check.js';
import { guideStyle } from './styles/guide.js';
import { lookStyle } from './styles/look.js';
import { mergeStyle } from './styles/merge.js';
import { nightStyle } from './styles/night.js';
import { partsStyle } from './styles/parts.js';
import { placesStyle } from './styles/places.js';
import { planStyle } from './styles/plan.js';
import { shellStyle } from './styles/shell.js';
import { shootStyle } from './styles/shoot.js';

/** The desk's one style sheet: what all pages share, the frame of the desk, its parts, and what each screen adds. */
export const pageStyle = [
  baseStyle,
  shellStyle,
  partsStyle,
  placesStyle,
  planStyle,
  shootStyle,
  checkStyle,
  mergeStyle,
  lookStyle,
  nightStyle,
  guideStyle,
].join('');

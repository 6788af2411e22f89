import { optionName } from '../option-names.js';
import { percentText } from '../result/report/numbers.js';
import type { Framing } from './framing.js';
import type { RunLog } from './run-log.js';
import type { UsedFrame } from './used-frame.js';

/** Less than this is cut from any stack that is held by hand or rides on a rail. */
const leastCutPart = 0.01;

/** Says what was cut from the anchor's picture, or why it was not, and which frame is to blame where one is. */
export function noteFraming(
  wish: 'common' | 'anchor',
  { crop, isCut, commonPart, costly }: Framing,
  used: readonly UsedFrame[],
  log: RunLog,
): void {
  if (wish === 'anchor' || commonPart > 1 - leastCutPart) return;
  const file = costly && used[costly.index].file;
  const blame = file
    ? ` ${file.name} (frame ${file.number}) alone takes ${percentText(100 * costly.part)}: leave it out with ${optionName('skip')} ${file.number}.`
    : '';
  if (!isCut) {
    log.warn(
      `The frames have only ${percentText(100 * commonPart)} of the picture in common: it keeps the whole framing of the anchor, and is blurred where sharp frames do not reach.${blame}`,
    );
  } else {
    log.note(
      `The picture is cut to the ${crop.width} x ${crop.height} pixels that every frame reaches, ${percentText(100 * commonPart)} of a frame: keep the anchor's whole framing with ${optionName('crop')} anchor.${blame}`,
    );
  }
}

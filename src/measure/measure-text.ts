import type { StoredMeasure } from '../result/measures-file.js';
import { isOutdated, kindText, placeText, quantityText } from '../result/report/measure-words.js';
import { significantNumber } from '../result/report/numbers.js';
import type { Magnifications } from './magnification.js';

/** A measure as lines for a terminal. */
export function measureText(measure: StoredMeasure, now: string): string {
  const width = Math.max(...measure.quantities.map(({ name }) => name.length));
  const lines = [
    `${measure.id}  ${kindText(measure)}, ${placeText(measure)}${measure.note === '' ? '' : `: ${measure.note}`}`,
    ...measure.quantities.map((quantity) => `   ${quantity.name.padEnd(width)}  ${quantityText(quantity)}`),
    ...measure.remarks.map((remark) => `   ${remark}`),
    ...(isOutdated(measure, now)
      ? ['   Taken before the picture was changed: the next measure takes it anew.']
      : []),
  ];
  return lines.map((line) => `${line}\n`).join('');
}

/** The sizes of a picture as lines for a terminal. */
export function scaleText(found: Magnifications, printWidthMm: number | undefined): string {
  const { mmPerPixel, widthMm, onSensor, onPrint, sideRange } = found;
  const short = (value: number) => significantNumber(value, 4);
  const rows = [
    [
      'Pixel',
      mmPerPixel === null
        ? 'its size on the subject is not known'
        : `${short(mmPerPixel * 1000)} µm on the subject`,
    ],
    ...(widthMm === null ? [] : [['Picture', `${short(widthMm)} mm wide on the subject`]]),
    ['On the sensor', onSensor === null ? 'magnification is not known' : `${short(onSensor)} times its size`],
    ...(printWidthMm === undefined
      ? []
      : [
          [
            `On a print ${short(printWidthMm)} mm wide`,
            onPrint === null ? 'magnification is not known' : `${short(onPrint)} times its size`,
          ],
        ]),
    ...(sideRange !== null && sideRange > 0.001
      ? [
          [
            'Perspective',
            `lengths differ by ${short(100 * sideRange)} % from the nearest to the farthest depth`,
          ],
        ]
      : []),
  ];
  const width = Math.max(...rows.map(([name]) => name.length));
  return rows.map(([name, value]) => `${name.padEnd(width)}  ${value}\n`).join('');
}

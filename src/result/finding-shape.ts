import type { SensorSpot } from '../rail/sensor-spot.js';
import type { Finding, FindingFix, FindingKind } from './finding.js';
import {
  listShape,
  numberShape,
  objectShape,
  oneOfShape,
  optionalShape,
  type Shape,
  textShape,
  wholeShape,
} from './shape.js';

/** A finding as it is kept in files. Its kind is any text: a later program may know more of them. */
export const findingShape = objectShape<Finding>({
  kind: textShape() as Shape<FindingKind>,
  rank: oneOfShape('spoils', 'flaw', 'note'),
  frames: listShape(wholeShape(1)),
  files: optionalShape(listShape(textShape())),
  message: textShape(),
  advice: textShape(),
  fixes: optionalShape(
    listShape(
      objectShape<FindingFix>({
        skip: optionalShape(listShape(wholeShape(1))),
        order: optionalShape(oneOfShape('time', 'name')),
        direction: optionalShape(oneOfShape('near-to-far', 'far-to-near')),
      }),
    ),
  ),
  spots: optionalShape(listShape(objectShape<SensorSpot>({ x: numberShape(), y: numberShape() }))),
  neededStepPart: optionalShape(numberShape(0)),
  neededStepMm: optionalShape(numberShape(0)),
});

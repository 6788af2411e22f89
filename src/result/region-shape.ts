import { listShape, numberShape, objectShape, oneOfShape, type Shape, wholeShape } from './shape.js';

/** A composite pixel; pixel centres lie at whole numbers. */
export type MeasurePoint = [x: number, y: number];

/** A part of the picture, in composite pixels; see `MendRegion`. */
export type MeasureRegion =
  | { kind: 'rectangle'; x: number; y: number; width: number; height: number }
  | { kind: 'polygon'; points: MeasurePoint[] };

export const pointShape = listShape(numberShape(), 2) as unknown as Shape<MeasurePoint>;

const rectangleShape = objectShape<Extract<MeasureRegion, { kind: 'rectangle' }>>({
  kind: oneOfShape('rectangle'),
  x: wholeShape(0),
  y: wholeShape(0),
  width: wholeShape(1),
  height: wholeShape(1),
});
const polygonShape = objectShape<Extract<MeasureRegion, { kind: 'polygon' }>>({
  kind: oneOfShape('polygon'),
  points: listShape(pointShape),
});

/** Of mends and of measures. */
export const regionShape: Shape<MeasureRegion> = (value, field) => {
  const isPolygon =
    typeof value === 'object' && value !== null && 'kind' in value && value.kind === 'polygon';
  return (isPolygon ? polygonShape : rectangleShape)(value, field);
};

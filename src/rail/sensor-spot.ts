/** A pixel of the sensor, full-size pixels of the upright frame. */
export interface SensorSpot {
  x: number;
  y: number;
}

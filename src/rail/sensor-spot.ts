/** A pixel of the sensor, full-size pixels of the upright frame. */
export interface SensorSpot {
  x: number;
  y: number;
}

/** A speck of dust with its blurred rim, full-size pixels. */
export interface DustSpot extends SensorSpot {
  radius: number;
}

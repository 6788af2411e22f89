/**
 * Diameter of the lens's entrance pupil as a part of the width of the field, as a rail's blur and growth imply it.
 *
 * A camera that moves by s toward what is in focus at the distance u enlarges it by g = s / u. What it has left behind is
 * spread on the sensor over a circle of A m s / u (thin lens: E. Hecht, Optics, ch. 5), A the pupil's diameter, m the
 * magnification. With blur radius kappa in pixels, 2 kappa pitch = A m g; the field is F = W pitch / m wide, so that
 *
 *   A / F = 2 kappa / (W g)
 *
 * whatever the pixel pitch, step and magnification. A lens that is focused by moving it out as a whole, before a camera
 * that stands still, grows by g = dv / v and blurs by A dv / v: the same ratio is then A over the width of the SENSOR.
 *
 * @param blurPx Radius of the blur a step away, kappa, px.
 * @param growth Growth of the picture a step, as a part of its size, of either sign.
 * @param widthPx Width of the frame, px.
 */
export function pupilToField(blurPx: number, growth: number, widthPx: number): number {
  return (2 * blurPx) / (widthPx * Math.abs(growth));
}

/**
 * Diameter of the lens's entrance pupil relative to the width of the field, as blur and growth on a rail imply it.
 *
 * A camera that moves by s toward what is in focus at the distance u enlarges it by g = s / u. What was in focus before
 * is spread on the sensor over a circle of A m s / u (thin lens: E. Hecht, Optics, ch. 5), A the pupil's diameter, m
 * the magnification. With blur radius kappa in pixels, 2 kappa pitch = A m g; the field is F = W pitch / m wide, so
 * that
 *
 *   A / F = 2 kappa / (W g)
 *
 * whatever the pixel pitch, step and magnification. A lens that is focused by moving it out as a whole, in front of a
 * fixed camera, grows by g = dv / v and blurs by A dv / v: the same ratio is then A over the width of the SENSOR.
 *
 * @param blurPx Radius of the blur one step out of focus, kappa, px.
 * @param growth Relative growth of the picture per step, of either sign.
 * @param widthPx Width of the frame, px.
 */
export function pupilToField(blurPx: number, growth: number, widthPx: number): number {
  return (2 * blurPx) / (widthPx * Math.abs(growth));
}

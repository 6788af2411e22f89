/** J1(x) = (1/pi) integral of cos(t - x sin t) over 0 to pi (Bessel's integral; Abramowitz & Stegun 1964, 9.1.21). */
export function besselJ1(x: number): number {
  const steps = 200;
  let sum = 0;
  for (let i = 0; i < steps; i++) {
    const t = ((i + 0.5) * Math.PI) / steps;
    sum += Math.cos(t - x * Math.sin(t));
  }
  return sum / steps;
}

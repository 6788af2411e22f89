import { focusDistanceMm, type Optics } from '../../../samples/camera.js';
import type { RaytracedScene } from './scene-text.js';

/** Distance of a plane before and behind the plane of focus, as a share of the focus distance. */
const planeShare = 1e-3;

/**
 * Centre of the lens as POV-Ray samples it, mm from the camera's axis, x right and y up.
 *
 * Its pattern of rays is fixed in the picture and lies off centre: with 24 rays by 2.7 % of the lens's diameter. What is in
 * focus stays in place, what is not moves in proportion to its defocus, as before a rail that is not parallel to the lens
 * axis. The stack shows the subject as seen from there, and so must the truth.
 *
 * Measured as the mean position at which the rays of all pixels meet a plane out of focus: a ray from e through the centre
 * of the plane of focus meets the plane z at -e z / distance.
 *
 * @param shoot Linear light, (rows, cols, 3), of a scene before the camera at rest through its lens.
 * @param widthMm Width of the field in the plane of focus.
 */
export async function measureLensCentre(
  optics: Optics,
  widthMm: number,
  shoot: (scene: RaytracedScene) => Promise<Float32Array>,
): Promise<[number, number]> {
  const rampMm = 4 * widthMm;
  const ramp = (axis: 'x' | 'y', colour: string) =>
    `[1 gradient ${axis} color_map{[0 rgb 0][1 rgb${colour}]} scale ${rampMm} translate ${-rampMm / 2}*${axis}]`;
  const pigment = `average pigment_map{${ramp('x', '<2,0,0>')}${ramp('y', '<0,2,0>')}}`;
  const meanAt = async (zMm: number) => {
    const texture = `texture{pigment{${pigment}}finish{ambient 1 diffuse 0}}`;
    const light = await shoot({ things: [{ geometry: `plane{z,${zMm}}`, texture }], lights: '' });
    const sum = [0, 0];
    for (let i = 0; i < light.length; i++) if (i % 3 < 2) sum[i % 3] += light[i];
    return sum.map((value) => (value / (light.length / 3)) * rampMm);
  };
  const z = planeShare * focusDistanceMm(optics);
  const [before, behind] = [await meanAt(-z), await meanAt(z)];
  return [(before[0] - behind[0]) / (2 * planeShare), (before[1] - behind[1]) / (2 * planeShare)];
}

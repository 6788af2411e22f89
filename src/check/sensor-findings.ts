import type { SensorSpot } from '../rail/sensor-spot.js';
import type { Finding } from '../result/finding.js';

/** Places that a sentence tells; the rest is in the page and in the JSON. */
const spotsTold = 4;
/** What lies on the sensor or is broken in it. */
export function sensorFindings(dust: SensorSpot[], hotPixels: SensorSpot[]): Finding[] {
  const findings: Finding[] = [];
  if (dust.length > 0) {
    findings.push({
      kind: 'dust',
      rank: 'flaw',
      frames: [],
      message: `${dust.length === 1 ? 'A dark spot stays' : `${dust.length} dark spots stay`} on the sensor while the picture moves: dust at ${placesText(dust)}.`,
      advice:
        'A merge keeps dust out of the search for focus; faint marks may remain where it lay. Clean the sensor, by the instructions of the camera, and shoot again where it matters.',
      spots: dust,
    });
  }
  if (hotPixels.length > 0) {
    findings.push({
      kind: 'hot-pixels',
      rank: 'flaw',
      frames: [],
      message: `${hotPixels.length === 1 ? 'A bright pixel stays' : `${hotPixels.length} bright pixels stay`} on the sensor in every frame looked at: ${placesText(hotPixels)}.`,
      advice:
        'A merge repairs those that it finds; dotted trails of weaker ones may remain. Develop the raw files with removal of hot pixels, expose for a shorter time, or let the camera map them out.',
      spots: hotPixels,
    });
  }
  return findings;
}

function placesText(spots: readonly SensorSpot[]): string {
  const told = spots.slice(0, spotsTold).map(({ x, y }) => `x ${x}, y ${y}`);
  return told.join('; ') + (spots.length > spotsTold ? `; and ${spots.length - spotsTold} more` : '');
}

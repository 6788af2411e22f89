import type { SensorSpot } from '../rail/sensor-spot.js';
import type { Finding } from '../result/finding.js';

/** Number of spots that a sentence lists; the page and the JSON have all. */
const maxSpotsListed = 4;
/** Findings about dust on the sensor and hot pixels. */
export function sensorFindings(dust: SensorSpot[], hotPixels: SensorSpot[]): Finding[] {
  const findings: Finding[] = [];
  if (dust.length > 0) {
    findings.push({
      kind: 'dust',
      rank: 'flaw',
      frames: [],
      message: `${dust.length === 1 ? 'A dark spot stays' : `${dust.length} dark spots stay`} on the sensor while the picture moves: dust at ${spotsText(dust)}.`,
      advice:
        'A merge keeps dust out of the search for focus; faint marks may remain where it lay. Clean the sensor, by the instructions of the camera, and shoot again where it matters.',
      spots: dust.map(({ x, y }) => ({ x, y })),
    });
  }
  if (hotPixels.length > 0) {
    findings.push({
      kind: 'hot-pixels',
      rank: 'flaw',
      frames: [],
      message: `${hotPixels.length === 1 ? 'A bright pixel stays' : `${hotPixels.length} bright pixels stay`} on the sensor in every frame looked at: ${spotsText(hotPixels)}.`,
      advice:
        'A merge repairs those that it finds; dotted trails of weaker ones may remain. Develop the raw files with removal of hot pixels, expose for a shorter time, or let the camera map them out.',
      spots: hotPixels,
    });
  }
  return findings;
}

function spotsText(spots: readonly SensorSpot[]): string {
  const listed = spots.slice(0, maxSpotsListed).map(({ x, y }) => `x ${x}, y ${y}`);
  return (
    listed.join('; ') + (spots.length > maxSpotsListed ? `; and ${spots.length - maxSpotsListed} more` : '')
  );
}

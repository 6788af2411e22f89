import { storedIndex } from './focus-state.js';
import { at, type Plane, pictureOf, randomFrom } from './kernel-rig.js';
import { tuned } from './tuned.js';

/** What `markDepthEdgesStrip` is given: stored depth indices, certainties 0 to 255, and the tones that are kept above them. */
export interface MapScene {
  depthIndices: Plane;
  stored: Plane;
  nearSign: 1 | -1;
}

/** Farthest depth indices of one surface, stored units. */
export const same = Math.round(64 * tuned('sameUnits'));

/** Hairs and a broad leaf before a sloping ground, whose depth reaches beside them, with noise in tones and depths. */
export function randomMapScene(width: number, height: number, nearSign: 1 | -1): MapScene {
  const random = randomFrom(width + 7 * height + nearSign);
  const isHair = (x: number, y: number) => (x + y) % 23 === 5 || (x + y) % 41 < 2;
  const isLeaf = (x: number) => x % 64 > 40;
  const reaches = (x: number, y: number) => [-2, -1, 0, 1, 2].some((by) => isHair(x + by, y));
  const depthIndices = pictureOf(width, height, (x, y) => {
    const frame = isLeaf(x) ? 5.5 : reaches(x, y) ? 3 : 8 + x / 50;
    const shown = random() < 0.05 ? 14 * random() : frame + 0.4 * random();
    return storedIndex(nearSign > 0 ? shown : 14 - shown);
  });
  const stored = pictureOf(width, height, (x, y) => {
    const tone = isLeaf(x) ? 120 + 60 * (y % 2) : isHair(x, y) ? 230 : 60;
    return Math.floor(256 * random()) + 256 * Math.floor(tone + 25 * random());
  });
  return { depthIndices, stored, nearSign };
}

/** Depth index of the map, stored; how sure it is; how far alpha and contrast are from their bounds; and whether something lies behind it within reach. */
interface Mapped {
  depthIndex: number;
  /** How sure it is that it is not the other surface, 0 to 1. */
  sure: number;
  margin: number;
  isEdge: boolean;
}

/** Plain twin of the kernels of assembly/map-depth.ts: one pixel at a time, by the moments' definitions. */
export function mapDepthTwin({ depthIndices, stored, nearSign }: MapScene, x: number, y: number): Mapped {
  const own = at(depthIndices, x, y);
  const { width, height } = depthIndices;
  const square = (u: number, v: number, reach: number) => {
    const found: { u: number; v: number; behind: number }[] = [];
    for (let j = Math.max(0, v - reach); j <= Math.min(height - 1, v + reach); j++) {
      for (let i = Math.max(0, u - reach); i <= Math.min(width - 1, u + reach); i++)
        found.push({ u: i, v: j, behind: (at(depthIndices, i, j) - at(depthIndices, u, v)) * nearSign });
    }
    return found;
  };
  const isEdge = (u: number, v: number) =>
    square(u, v, tuned('edgeReach')).some(({ behind }) => behind > same);
  const stays = { depthIndex: own, sure: 1, margin: Number.POSITIVE_INFINITY, isEdge: isEdge(x, y) };
  if (!stays.isEdge) return stays;
  const tone = (u: number, v: number) => at(stored, u, v) >> 8;
  const around = square(x, y, tuned('shareRadius'));
  const near = around.filter(({ behind }) => Math.abs(behind) <= same);
  const back = around.filter(({ behind }) => behind > same);
  if (back.length === 0 || near.filter(({ u, v }) => !isEdge(u, v)).length >= tuned('thinPixels'))
    return stays;
  const mean = (values: number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const ground = mean(back.map(({ u, v }) => tone(u, v)));
  const texture = mean(back.map(({ u, v }) => (tone(u, v) - ground) ** 2));
  const differences = near.map(({ u, v }) => tone(u, v) - ground);
  const squares = differences.reduce((sum, difference) => sum + difference ** 2, 0);
  if (squares === 0) return { ...stays, sure: 0.5 };
  const contrast = differences.reduce((sum, difference) => sum + difference ** 3, 0) / squares;
  const least = tuned('confirmedSigmas') * Math.sqrt(texture + tuned('toneNoise') ** 2);
  const thing = ground + contrast;
  const alpha = (tone(x, y) ** 2 - ground ** 2) / (thing ** 2 - ground ** 2);
  const margin = Math.min(Math.abs(Math.abs(contrast) / least - 1), Math.abs(alpha - 0.5));
  if (Math.abs(contrast) <= least) return { ...stays, sure: 0.5, margin };
  const z = ((alpha - 0.5) * Math.abs(contrast) * tuned('confirmedSigmas')) / least;
  if (alpha >= 0.5) return { ...stays, sure: 1 / (1 + Math.exp(-1.702 * Math.min(4, z))), margin };
  const behind = Math.floor(mean(back.map((pixel) => pixel.behind)) + 0.5);
  return { ...stays, depthIndex: own + nearSign * behind, sure: 0.5, margin };
}

/** Plain twin of `detailBit`: Sobel's derivatives of the tones around a pixel, which go on beyond the borders. */
function showsDetail({ stored }: MapScene, x: number, y: number, leastEnergy: number): boolean {
  const within = (value: number, count: number) => Math.max(0, Math.min(count - 1, value));
  const tone = (dx: number, dy: number) =>
    at(stored, within(x + dx, stored.width), within(y + dy, stored.height)) >> 8;
  const [across, down] = [0, 1].map((axis) =>
    [-1, 0, 1]
      .map((beside) => {
        const difference =
          axis === 0 ? tone(1, beside) - tone(-1, beside) : tone(beside, 1) - tone(beside, -1);
        return (beside === 0 ? 2 : 1) * difference;
      })
      .reduce((sum, difference) => sum + difference, 0),
  );
  return across ** 2 + down ** 2 > leastEnergy;
}

/**
 * Plain twin of `halveOneSidedStrip`: the certainty of a pixel, where its depth is that of the scene. By the angles at which
 * detail of its surface lies, in steps of 45 degrees: extrapolated where a gap between two of them is 225 degrees or more.
 */
export function certaintyTwin(scene: MapScene, x: number, y: number, leastEnergy: number): number {
  const { depthIndices, stored } = scene;
  const certainty = at(stored, x, y) & 255;
  if (certainty === 0 || showsDetail(scene, x, y, leastEnergy)) return certainty;
  const reach = tuned('ringRadius');
  const angles = [0, 45, 90, 135, 180, 225, 270, 315].filter((angle) => {
    const [dx, dy] = [Math.cos, Math.sin].map((of) => Math.round(of((angle * Math.PI) / 180)));
    const steps = Math.floor(Math.round(reach / Math.hypot(dx, dy)) / 2);
    return Array.from({ length: steps }, (_, n) => [x + 2 * (n + 1) * dx, y + 2 * (n + 1) * dy]).some(
      ([u, v]) =>
        u >= 0 &&
        v >= 0 &&
        u < stored.width &&
        v < stored.height &&
        showsDetail(scene, u, v, leastEnergy) &&
        Math.abs(at(depthIndices, u, v) - at(depthIndices, x, y)) <= same,
    );
  });
  const gaps = angles.map((angle, i) => (angles[i + 1] ?? angles[0] + 360) - angle);
  return Math.max(0, ...gaps) < 225 && angles.length > 0 ? certainty : Math.max(1, certainty >> 1);
}

/** Between which bounds a certainty is lowered to, by rounding. */
export function loweredCertainty(stored: number, sure: number): [least: number, most: number] {
  const given = stored & 255;
  return [Math.min(given, Math.max(1, given * sure - 2)), Math.max(Math.min(given, 1), given * sure + 1)];
}

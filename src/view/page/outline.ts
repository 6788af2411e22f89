export type Corner = [number, number];

/**
 * An outline with fewer corners that nowhere strays further than `tolerance` from the drawn one (Douglas & Peucker,
 * Cartographica 10(2), 1973).
 */
export function simplifyOutline(points: readonly Corner[], tolerance: number): Corner[] {
  if (points.length < 3) return [...points];
  const keep = new Uint8Array(points.length);
  keep[0] = 1;
  keep[points.length - 1] = 1;
  const spans: [number, number][] = [[0, points.length - 1]];
  for (let span = spans.pop(); span; span = spans.pop()) {
    const [from, to] = span;
    let farthest = -1;
    let maxDistance = tolerance;
    for (let i = from + 1; i < to; i++) {
      const away = distanceToSegment(points[i], points[from], points[to]);
      if (away > maxDistance) {
        maxDistance = away;
        farthest = i;
      }
    }
    if (farthest < 0) continue;
    keep[farthest] = 1;
    spans.push([from, farthest], [farthest, to]);
  }
  return points.filter((_, i) => keep[i] === 1);
}

function distanceToSegment([x, y]: Corner, [x0, y0]: Corner, [x1, y1]: Corner): number {
  const dx = x1 - x0;
  const dy = y1 - y0;
  const length = dx * dx + dy * dy;
  const at = length > 0 ? Math.max(0, Math.min(1, ((x - x0) * dx + (y - y0) * dy) / length)) : 0;
  return Math.hypot(x - x0 - at * dx, y - y0 - at * dy);
}

/** Corners moved into a picture. */
export function clampOutline(points: readonly Corner[], width: number, height: number): Corner[] {
  const clamp = (value: number, length: number) =>
    Math.round(Math.max(0, Math.min(length - 1, value)) * 10) / 10;
  return points.map(([x, y]) => [clamp(x, width), clamp(y, height)]);
}

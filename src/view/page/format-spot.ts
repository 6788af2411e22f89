import type { ResultInfo, Spot } from '../protocol.js';
import { formatDepth, numberText, shareText } from './format-values.js';

/** A spot in one line: where, how deep, from which frames, how sure. */
export function formatSpot(spot: Spot, info: ResultInfo): string {
  const parts = [`x ${spot.x}, y ${spot.y}`];
  if (spot.depth !== undefined) {
    parts.push(spot.depth === null ? 'no depth' : `depth ${formatDepth(spot.depth, info.unit)}`);
  }
  if (spot.sources !== undefined) parts.push(formatSources(spot.sources));
  if (spot.confidence !== undefined) parts.push(`confidence ${numberText(spot.confidence, 2)}`);
  if (spot.coverage !== undefined) {
    const found = info.coverage.find(({ name }) => name === spot.coverage);
    parts.push(found ? `${found.name}: ${found.meaning}` : spot.coverage);
  }
  return parts.join('  ·  ');
}

const namedFrames = 3;

function formatSources(sources: NonNullable<Spot['sources']>): string {
  const named = sources.slice(0, namedFrames).map(([frame, share]) => {
    const who = frame === 0 ? 'no frame' : `frame ${frame}`;
    return sources.length === 1 ? who : `${who} (${shareText(100 * share)})`;
  });
  if (sources.length > namedFrames) named.push(`${sources.length - namedFrames} more`);
  return named.join(', ');
}

import type { ResultInfo } from '../protocol.js';
import { make, makeSvg } from './dom.js';
import { formatDepth } from './format-values.js';

export type LayerName = 'composite' | 'depth' | 'sources' | 'confidence' | 'coverage' | 'frame';

/** What the colours of a layer mean; nothing for photographs. */
export function legendOf(layer: LayerName, info: ResultInfo): HTMLElement[] {
  if (layer === 'depth' && info.depthRange) {
    const { near, far } = info.depthRange;
    const [bar, ends] = ramp(
      info.depthColours,
      `near ${formatDepth(near, info.unit)}`,
      `far ${formatDepth(far, info.unit)}`,
    );
    return [bar, ends, make('div', {}, 'dotted: confidence under 0.1')];
  }
  if (layer === 'sources') {
    const placed = info.frames
      .flatMap(({ number, used, depth }) => (used && depth !== null ? [{ number, depth }] : []))
      .sort((first, second) => first.depth - second.depth);
    if (placed.length === 0) return [];
    const [first, last] = [placed[0], placed[placed.length - 1]];
    return ramp(
      info.depthColours,
      `frame ${first.number}, ${formatDepth(first.depth, info.unit)}`,
      `frame ${last.number}, ${formatDepth(last.depth, info.unit)}`,
    );
  }
  if (layer === 'confidence') return ramp(['#000000', '#ffffff'], 'confidence 0', '1');
  if (layer !== 'coverage') return [];
  const items = info.coverage.map(({ name, meaning, colour, percent }, value) =>
    make('li', {}, swatch(colour, value), `${name}: ${meaning}, ${percent.toFixed(1)} %`),
  );
  return [make('ul', {}, ...items)];
}

function ramp(colours: readonly string[], low: string, high: string): HTMLElement[] {
  const stops = colours.map((colour, i) =>
    makeSvg('stop', { offset: i / (colours.length - 1), 'stop-color': colour }),
  );
  const bar = makeSvg(
    'svg',
    { viewBox: '0 0 100 12', preserveAspectRatio: 'none', 'aria-hidden': 'true' },
    makeSvg('linearGradient', { id: 'legend-ramp' }, ...stops),
    makeSvg('rect', { width: 100, height: 12, fill: 'url(#legend-ramp)' }),
  );
  const holder = make('div', {});
  holder.append(bar);
  return [holder, make('div', { class: 'ends' }, make('span', {}, low), make('span', {}, high))];
}

/** A piece of the class's colour with its pattern: as paint.ts draws it. */
function swatch(colour: string, value: number): SVGSVGElement {
  const dark = '#00000073';
  const marks: SVGElement[] = [];
  for (let i = 0; i < 24; i += 6) {
    if (value === 1) marks.push(makeSvg('rect', { x: 0, y: i, width: 24, height: 2, fill: dark }));
    if (value === 2) marks.push(makeSvg('rect', { x: i, y: 0, width: 2, height: 18, fill: dark }));
    if (value === 3)
      marks.push(makeSvg('path', { d: `M${i + 4},0 L${i - 14},18`, stroke: dark, 'stroke-width': 2 }));
    if (value === 5)
      marks.push(makeSvg('path', { d: `M${i - 14},0 L${i + 4},18`, stroke: dark, 'stroke-width': 2 }));
    if (value === 4) {
      for (let y = 0; y < 18; y += 6) {
        marks.push(makeSvg('rect', { x: i, y, width: 2, height: 2, fill: '#464646' }));
      }
    }
  }
  return makeSvg(
    'svg',
    { viewBox: '0 0 24 18', 'aria-hidden': 'true' },
    makeSvg('rect', { width: 24, height: 18, fill: colour }),
    ...marks,
  );
}

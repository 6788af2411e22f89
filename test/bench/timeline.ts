import type { Span } from '../../src/workers/spans.js';

/** Where the time of one merge went. Clock times, ms since 1970. */
export interface Timeline {
  title: string;
  fromMs: number;
  toMs: number;
  /** The stages of the merge, one after the other. */
  stages: { name: string; fromMs: number; toMs: number }[];
  /** When the main thread was at work. */
  main: { fromMs: number; toMs: number }[];
  spans: Span[];
}

/** Spans side by side in as few rows as it takes for none to overlap another. */
export function packRows<Item extends { fromMs: number; toMs: number }>(items: readonly Item[]): Item[][] {
  const rows: Item[][] = [];
  for (const item of [...items].sort((first, second) => first.fromMs - second.fromMs)) {
    const free = rows.find((row) => row[row.length - 1].toMs <= item.fromMs);
    if (free) free.push(item);
    else rows.push([item]);
  }
  return rows;
}

const rowPx = 18;
const labelPx = 110;
const chartPx = 1100;

/** One page with a picture of each timeline: stages above, a row a thread below, decoding apart from computing. */
export function timelinePage(timelines: readonly Timeline[]): string {
  return `<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Where the time of a merge goes</title>
<style>body{font:14px sans-serif;margin:2em}svg{display:block;margin-bottom:2em}text{font-size:12px}</style>
<h1>Where the time of a merge goes</h1>
<p>Stages over time, one row a thread: <b style="color:#777">stages</b>, <b style="color:#1b7837">main thread</b>, <b style="color:#b35806">decoding</b>, <b style="color:#2166ac">computing</b>, <b style="color:#762a83">files being written</b>. White is waiting.</p>
${timelines.map(chart).join('\n')}
</html>
`;
}

interface Bar {
  name: string;
  fromMs: number;
  toMs: number;
}

function chart({ title, fromMs, toMs, stages, main, spans }: Timeline): string {
  const rowsOf = (wanted: Span['kind']) => packRows(spans.filter(({ kind }) => kind === wanted));
  const workers = [...new Set(spans.flatMap(({ worker }) => worker ?? []))].sort((a, b) => a - b);
  const rows: { label: string; colour: string; bars: readonly Bar[]; named?: boolean }[] = [
    { label: 'stages', colour: '#bbb', bars: stages, named: true },
    { label: 'main', colour: '#1b7837', bars: main.map((part) => ({ name: 'main', ...part })) },
    ...rowsOf('decode').map((bars, i) => ({ label: `decode ${i + 1}`, colour: '#b35806', bars })),
    ...workers.map((worker) => ({
      label: `worker ${worker + 1}`,
      colour: '#2166ac',
      bars: spans.filter((span) => span.worker === worker),
    })),
    ...rowsOf('write').map((bars, i) => ({ label: `write ${i + 1}`, colour: '#762a83', bars })),
  ];
  const scale = chartPx / (toMs - fromMs);
  const drawn = rows.map(({ label, colour, bars, named }, i) => {
    const y = i * rowPx;
    const parts = bars.map((bar) => {
      const x = labelPx + (bar.fromMs - fromMs) * scale;
      const width = Math.max(0.3, (bar.toMs - bar.fromMs) * scale);
      const text = `${bar.name}, ${(bar.toMs - bar.fromMs).toFixed(0)} ms`;
      const word = named ? `<text x="${(x + 3).toFixed(1)}" y="${y + 13}">${escaped(bar.name)}</text>` : '';
      return `<rect x="${x.toFixed(1)}" y="${y + 1}" width="${width.toFixed(1)}" height="${rowPx - 3}" fill="${colour}"><title>${escaped(text)}</title></rect>${word}`;
    });
    return `<text x="0" y="${y + 13}">${label}</text>${parts.join('')}`;
  });
  const height = rows.length * rowPx;
  const seconds = ((toMs - fromMs) / 1000).toFixed(2);
  return `<h2>${escaped(title)}: ${seconds} s</h2>
<svg width="${labelPx + chartPx}" height="${height}" role="img" aria-label="${escaped(title)}">${drawn.join('\n')}</svg>`;
}

function escaped(text: string): string {
  return text.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`);
}

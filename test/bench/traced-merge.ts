/**
 * Merges a folder by the built library and prints a `Timeline` without title as JSON. Arguments: folder, result
 * folder, rule.
 */
import { subscribe } from 'node:diagnostics_channel';
import type { Span } from '../../src/workers/spans.js';
import type { Timeline } from './timeline.js';

const [folder, out, rule] = process.argv.slice(2);
const { merge }: typeof import('../../src/index.js') = await import('../../dist/bundles/index.js' as string);

const clock = () => performance.timeOrigin + performance.now();
const spans: Span[] = [];
subscribe('lamella.spans', (span) => void spans.push(span as Span));

// A tick that comes late was held up by work on this thread.
const tickMs = 4;
const main: Timeline['main'] = [];
let last = clock();
const ticking = setInterval(() => {
  const now = clock();
  if (now - last > 3 * tickMs) main.push({ fromMs: last + tickMs, toMs: now });
  last = now;
}, tickMs);

const stages: Timeline['stages'] = [];
const fromMs = clock();
const closeStage = (): void => {
  const stage = stages.at(-1);
  if (stage) stage.toMs = clock();
};
await merge(
  folder,
  { out, overwrite: true, rule: rule as 'auto', crop: 'anchor' },
  {
    onEvent(event) {
      if (event.event !== 'stage') return;
      closeStage();
      stages.push({ name: event.stage, fromMs: clock(), toMs: 0 });
    },
  },
);
closeStage();
clearInterval(ticking);
process.stdout.write(JSON.stringify({ fromMs, toMs: clock(), stages, main, spans }));

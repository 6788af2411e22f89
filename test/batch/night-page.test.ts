import { describe, expect, it } from 'vitest';
import { eventText } from '../../src/batch/format-night.js';
import { nightPage } from '../../src/batch/night-page.js';
import { nightState } from '../../src/batch/night-state.js';
import { nightTable } from '../../src/batch/night-table.js';
import { at, batchEvent, doneEvent, failedEvent } from './night-fixtures.js';

const now = new Date('2026-11-26T06:00:00Z');
const odd = 'ant <b>&"x", 100 %';
const night = nightState([
  batchEvent(['bee', 'wasp', odd, '=1+1']),
  doneEvent('bee', { verdicts: ['Sharp throughout.'], warnings: ['Frame 3 is dark.'], wallMs: 83_000 }),
  failedEvent('wasp', 'Frames "3" & 4\nare cut short.'),
  doneEvent(odd),
  { event: 'put-off', at, stack: '=1+1', reason: 'it would take until 07:00' },
  { event: 'end', at, state: 'until', reason: 'Stopped so as to end in time.' },
]);

describe('the page of a night', () => {
  const page = nightPage(night, now);

  it('shows failures first, then what was put off, then results with their facts', () => {
    const order = ['are cut short.', 'it would take until 07:00', 'Sharp throughout.'].map((text) =>
      page.indexOf(text),
    );
    expect(order.every((place) => place > 0)).toBe(true);
    expect(order).toEqual([...order].sort((a, b) => a - b));
    for (const text of [
      '2 of 4 stacks merged, 1 failed, 1 put off',
      '1 min 23 s',
      'Frame 3 is dark.',
      'Stopped so as',
    ]) {
      expect(page).toContain(text);
    }
  });

  it('is complete in itself, and no name of a folder becomes a tag', () => {
    expect(page).not.toMatch(/<script|<link|src="(?!data:)|<b>/);
    expect(page).toContain('ant &lt;b&gt;&amp;&quot;x&quot;, 100 %');
  });

  it('links to each result', () => {
    const links = [...page.matchAll(/href="([^"]*)\/report\.html"/g)].map(([, link]) =>
      decodeURIComponent(link),
    );
    expect(new Set(links)).toEqual(new Set(['bee', odd]));
  });

  it('says where an earlier result stands behind a failure', () => {
    const again = nightPage(nightState([batchEvent(['bee']), doneEvent('bee'), failedEvent('bee')]), now);
    expect(again).toContain('An earlier result stands: <a href="bee/report.html">');
  });
});

describe('a stack whose picture something spoils', () => {
  const finding = (rank: 'spoils' | 'flaw', message: string) => ({
    ...{ kind: 'too-short-behind', rank, frames: [3], advice: 'Go on.' },
    message,
  });
  const dim = nightState([
    batchEvent(['ant', 'bee']),
    doneEvent('ant', { findings: [finding('flaw', 'Dust.')], verdicts: ['All of ant.'] }),
    doneEvent('bee', {
      findings: [finding('spoils', '51 % is sharp in no frame.'), finding('flaw', 'Dust too.')],
      verdicts: ['51 % is sharp in no frame. Go on.'],
    }),
  ]);

  it('has a group of its own on the page, before those that are merged', () => {
    const page = nightPage(dim, now);
    const order = ['<h2>Merged, but look</h2>', '51 % is sharp', '<h2>Merged</h2>', 'All of ant.'];
    const places = order.map((text) => page.indexOf(text));
    expect(places.every((place) => place > 0)).toBe(true);
    expect(places).toEqual([...places].sort((a, b) => a - b));
    expect(page).toContain('2 of 2 stacks merged (1 of them to look at), 0 failed');
  });

  it('is no plain "done" in the table', () => {
    const [head, ...rows] = readCsv(nightTable(dim));
    const column = (name: string) => rows.map((row) => row[head.indexOf(name)]);
    expect(column('state')).toEqual(['done', 'merged, but look']);
    expect(column('spoils')).toEqual(['', '51 % is sharp in no frame.']);
    expect(column('flaws')).toEqual(['Dust.', 'Dust too.']);
  });

  it('is named as it ends', () => {
    const event = doneEvent('bee', { findings: [finding('spoils', '51 % is sharp in no frame.')] });
    expect(eventText(event)).toBe('bee: merged, but look: 51 % is sharp in no frame. (2 s)');
    expect(eventText(doneEvent('ant'))).toBe('ant: done (2 s)');
  });
});

/** Rows of a CSV text by RFC 4180, for reading back. */
function readCsv(text: string): string[][] {
  const rows: string[][] = [[]];
  const pattern = /(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r\n)/gy;
  for (let match = pattern.exec(text); match; match = pattern.exec(text)) {
    const [, quoted, bare, end] = match;
    rows[rows.length - 1].push(quoted === undefined ? bare : quoted.replace(/""/g, '"'));
    if (end === '\r\n') rows.push([]);
    if (pattern.lastIndex === text.length) break;
  }
  return rows.slice(0, -1);
}

describe('the table of a night', () => {
  it('holds each stack with state, reason and time, whatever signs its name has', () => {
    const [head, ...rows] = readCsv(nightTable(night));
    const column = (name: string) => rows.map((row) => row[head.indexOf(name)]);
    // A spreadsheet would run a name that begins like a formula.
    expect(column('stack')).toEqual(['bee', 'wasp', odd, "'=1+1"]);
    expect(column('state')).toEqual(['done', 'failed', 'done', 'put off']);
    expect(column('reason')).toEqual(['', 'Frames "3" & 4\nare cut short.', '', 'it would take until 07:00']);
    expect(column('wallS')).toEqual(['83.0', '0.5', '2.0', '']);
    expect(column('warnings')).toEqual(['Frame 3 is dark.', '', '', '']);
    expect(rows.every((row) => row.length === head.length)).toBe(true);
  });
});

import { describe, expect, it } from 'vitest';
import { plan } from '../../src/plan/plan.js';
import { planSheet } from '../../src/plan/sheet.js';

const rail = plan({
  ...{ focalLengthMm: 100, extensionMm: 68, fNumber: 8, sensor: 'aps-c', pixels: 24e6, depthMm: 5 },
  ...{ stepMm: 2, travelPerTurnMm: 1.25, marksPerTurn: 50 },
});
const scene = plan({
  ...{ landscape: true, focalLengthMm: 24, fNumber: 8, sensor: 'full-frame', pixels: 24e6, nearM: 0.8 },
});

describe('a sheet as CSV', () => {
  it('is a table up to the first empty line, the last row at the back of the subject', () => {
    const lines = planSheet(rail, 'csv').split('\r\n');
    const end = lines.indexOf('');
    expect(lines[0]).toBe('frame,position_mm,turns,degrees,mark,done');
    expect(end).toBe(rail.frames + 1);
    // 2 mm at 1.25 mm a turn: 1.6 turns, 216 degrees and 30 of 50 marks beyond the first.
    expect(lines[2]).toBe('2,2.0000,1,216.0,30.0,');
    expect(Number(lines[end - 1].split(',')[1])).toBeGreaterThanOrEqual(5);
    const fields = lines.slice(1, end).map((line) => line.split(',').length);
    expect(new Set(fields)).toEqual(new Set([6]));
  });

  it('ends with the warnings of the plan and a caution, one quoted cell a line', () => {
    const words = planSheet(rail, 'csv').split('\r\n\r\n')[1].trim().split('\r\n');
    expect(words[0]).toContain('Warning: A step of 2 mm leaves unsharp gaps');
    for (const line of words) expect(line).toMatch(/^"[^"]+"$/);
    expect(words.join()).toMatch(/LEDs.*eyes.*warm.*Pins.*Solvents/s);
  });
});

describe('a sheet as HTML', () => {
  const page = planSheet(rail, 'html');
  it('has a box to tick for each frame, its knob reading, the caution, and loads nothing', () => {
    expect(page.match(/class="box"/g)).toHaveLength(rail.frames);
    expect(page).toContain('<td>2</td><td>2.0000</td><td>1</td><td>216.0</td><td>30.0</td>');
    expect(page).toMatch(/LEDs.*eyes.*warm.*Pins.*Solvents/s);
    expect(page).toContain('leaves unsharp gaps');
    expect(page).not.toMatch(/https?:|<script|<link|src=/);
    // And were something in it after all, the browser would not load or run it.
    expect(page).toMatch(/http-equiv="Content-Security-Policy" content="default-src &#39;none&#39;;/);
  });

  it('of a landscape lists distances instead, with a caution for outdoors', () => {
    const list = planSheet(scene, 'html');
    expect(list.match(/class="box"/g)).toHaveLength(scene.frames);
    expect(list).toContain('<td>infinity</td>');
    expect(list).toContain('sun');
    expect(list).not.toContain('Knob');
  });
});

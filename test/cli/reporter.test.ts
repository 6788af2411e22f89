import { describe, expect, it } from 'vitest';
import { openReporter } from '../../src/cli/reporter.js';
import { fakeSystem } from './fake-system.js';
import { mergeEvents } from './fixtures/fake-merge.js';
import { screenAfter } from './screen.js';

// biome-ignore lint/suspicious/noControlCharactersInRegex: control codes are what must not appear.
const controlCode = /[\u0000-\u0009\u000b-\u001f\u007f-\u009f]/;

const modes = { json: false, quiet: false };

function printed(options: { json: boolean; quiet: boolean }, columns = 0, events = mergeEvents) {
  const system = fakeSystem(undefined, columns);
  const reporter = openReporter(system, options);
  for (const event of events) reporter.onEvent(event);
  reporter.close();
  return { stdout: system.stdout.text, stderr: system.stderr.text };
}

describe('without a terminal', () => {
  it('the words are plain lines without control codes, on stderr alone', () => {
    const { stdout, stderr } = printed(modes);
    expect(stdout).toBe('');
    expect(stderr).not.toMatch(controlCode);
    expect(stderr.endsWith('\n')).toBe(true);
  });

  it('say each stage and about every tenth of it', () => {
    const lines = printed(modes).stderr.split('\n');
    expect(lines.filter((line) => line === 'Aligning')).toHaveLength(1);
    const progress = lines.filter((line) => line.startsWith('Blending: '));
    expect(progress).toHaveLength(10);
    expect(progress[0]).toBe('Blending: frame 4 of 40, 85 MP/s, 1 min 16 s left');
    expect(progress[9]).toBe('Blending: frame 40 of 40, 85 MP/s, 40 s left');
  });

  it('keep warnings and notes on lines of their own', () => {
    const lines = printed(modes).stderr.split('\n');
    expect(lines).toContain('Note: readme.txt is no image.');
    expect(lines).toContain('Warning: IMG_7.JPG cannot be aligned and is left out.');
    expect(lines.at(-2)).toBe('Done in 1 min 23 s: composite.tif, run.json');
  });

  it('defuse control codes in the name of a file', () => {
    const { stderr } = printed(modes, 0, [
      { event: 'warning', message: 'a\u001b[2Jb\u009b.jpg is cut short.' },
    ]);
    expect(stderr).toBe('Warning: a\\x1b[2Jb\\x9b.jpg is cut short.\n');
  });

  it('keep a line feed in the name of a file from looking like a message of ours', () => {
    const { stderr } = printed(modes, 0, [{ event: 'warning', message: 'a\nDone in 1 s.jpg is cut short.' }]);
    expect(stderr).toBe('Warning: a\\x0aDone in 1 s.jpg is cut short.\n');
  });
});

describe('quiet', () => {
  it.each([0, 80])('prints warnings alone, on %i columns too', (columns) => {
    expect(printed({ json: false, quiet: true }, columns)).toEqual({
      stdout: '',
      stderr: 'Warning: IMG_7.JPG cannot be aligned and is left out.\n',
    });
  });
});

describe('json', () => {
  it('passes each event on as one line of stdout, and says nothing else', () => {
    for (const quiet of [false, true]) {
      const { stdout, stderr } = printed({ json: true, quiet }, 80);
      expect(stderr).toBe('');
      const lines = stdout.split('\n');
      expect(lines.pop()).toBe('');
      expect(lines.map((line) => JSON.parse(line))).toEqual(mergeEvents);
    }
  });

  it('ends with an event for a failure', () => {
    const system = fakeSystem();
    openReporter(system, { json: true, quiet: false }).onFailure('No frames.', 3);
    expect(JSON.parse(system.stdout.text)).toEqual({ event: 'error', message: 'No frames.', exitCode: 3 });
  });
});

describe('on a terminal', () => {
  const kept = [
    '/tmp/bee: 40 frames of 6000 x 4000 pixels',
    'Note: readme.txt is no image.',
    'Warning: IMG_7.JPG cannot be aligned and is left out.',
    'Done in 1 min 23 s: composite.tif, run.json',
    '',
  ];

  it.each([30, 80, 200])(
    'of %i columns the progress line is gone at the end and only kept lines remain',
    (columns) => {
      expect(screenAfter(printed(modes, columns).stderr)).toEqual(kept);
    },
  );

  it('shows one line that fits, with stage, frame, speed and time left', () => {
    for (const columns of [20, 60, 80, 120]) {
      const { stderr } = printed(modes, columns, mergeEvents.slice(0, 5));
      // All that was drawn before the line was taken away.
      const drawn = screenAfter(stderr.slice(0, stderr.lastIndexOf('\u001b8')));
      expect(drawn.at(-1)?.length).toBeLessThan(columns);
      if (columns >= 60)
        expect(drawn.at(-1)).toMatch(/^Aligning (\[=* +\] )?frame 1 of 40, 85 MP\/s, 1 min 19 s left$/);
      if (columns >= 80) expect(drawn.at(-1)).toContain('[=');
      expect(drawn).toHaveLength(3);
    }
  });

  it('never hides the cursor nor switches line wrap off, which a killed program could not undo', () => {
    expect(printed(modes, 80).stderr).not.toContain('\u001b[?');
  });
});

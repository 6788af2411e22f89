import { expect, test } from 'vitest';
import { guideHtml, isDeskTopic } from '../../src/desk/guide-page.js';
import { inDeskWords } from '../../src/desk/option-labels.js';
import { guideTopics, readGuidePage } from '../../src/guide/pages.js';

/** As a command line writes options: two dashes before a word. */
const flag = /(?<![\w-])--[a-z]/;

test.each(guideTopics.filter(isDeskTopic))('the page %s of the guide names no flag on the desk', (topic) => {
  const html = guideHtml(readGuidePage(topic).text);
  expect(html.match(/<h1>/g)).toHaveLength(1);
  expect(html).not.toMatch(flag);
  expect(html).not.toMatch(/language-sh|<h2[^>]*>Options/);
});

test('options are called by their names on the screens, others by words', () => {
  expect(inDeskWords('Give --step, or --field-width.')).toBe(
    'Give “Step from frame to frame”, or “Width of the field”.',
  );
  expect(inDeskWords('Raise --memory or --max-megapixels; see a--b.jpg')).toBe(
    'Raise “memory” or “max megapixels”; see a--b.jpg',
  );
});

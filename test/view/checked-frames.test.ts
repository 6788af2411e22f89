import { readFileSync, utimesSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { findStackFrames } from '../../src/trace/stack-frames.js';
import { CheckedFrames } from '../../src/view/checked-frames.js';
import { makeResult } from '../mend/made-result.js';

test('a frame of another time than was recorded counts only once it is found to be the same', async () => {
  const { folder, frames: photographs } = await makeResult();
  const record = await readRunRecord(folder);
  const frames = await findStackFrames(record);
  const changed = join(photographs, 'f2.png');
  const bytes = readFileSync(changed);
  bytes[bytes.length >> 1] ^= 1;
  writeFileSync(changed, bytes);
  // Copied elsewhere and back: the same under another time.
  utimesSync(join(photographs, 'f3.png'), 1_800_000_000, 1_800_000_000);
  expect([...(await new CheckedFrames().usable(frames, record))]).toEqual([1, 3]);
});

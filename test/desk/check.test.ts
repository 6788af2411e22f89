import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import type { CheckView, DeskJob } from '../../src/desk/protocol.js';
import { jsonOf, useDesk } from './desk-fixture.js';

describe('a check on the desk', () => {
  const desk = useDesk();
  const start = async (folder: string, choices: object = {}): Promise<DeskJob> =>
    jsonOf<DeskJob>(await desk.post('api/check', { folder, choices }));
  const view = async (id: number): Promise<CheckView | null> =>
    jsonOf(await desk.get('api/check', { job: String(id) }));

  it('is a job that ends with a report, in the words of the desk, and a small picture of each frame', async () => {
    const folder = join(desk.root, 'bee');
    const job = await desk.ended((await start(folder)).id);
    expect(job).toMatchObject({ kind: 'check', title: 'bee', state: 'done', share: 1 });
    const checked = await view(job.id);
    expect(checked?.report?.frames.map(({ number }) => number)).toEqual([1, 2, 3]);
    expect(checked?.seen).toEqual([1, 2, 3]);
    // Options are called as the page calls them, never by their flags.
    expect(JSON.stringify(checked?.report?.findings)).not.toMatch(/--[a-z]/);
    const strip = await desk.get('strip', { job: String(job.id), frame: '2' });
    expect(strip.status).toBe(200);
    expect((await sharp(strip.body).metadata()).height).toBeLessThanOrEqual(96);
    expect((await desk.get('strip', { job: String(job.id), frame: '9' })).status).toBe(404);
    expect(jsonOf(await desk.get('api/check/latest', { folder }))).toEqual({ id: job.id });
  });

  it('leaves out the frames that are chosen, which keep their numbers', async () => {
    const { id } = await start(join(desk.root, 'fly'), { skip: [2], direction: 'far-to-near' });
    await desk.ended(id);
    const checked = await view(id);
    expect(checked?.report?.frames.map(({ number }) => number)).toEqual([1, 3]);
    expect(checked?.report?.direction).toBe('far-to-near');
  });

  it('fails in a sentence where there is no stack, and stops when it is cancelled', async () => {
    const failed = await desk.ended((await start(join(desk.root, 'empty'))).id);
    expect(failed.state).toBe('failed');
    expect(failed.message).toMatch(/holds no files: give a folder of at least 2 photographs/);
    const { id } = await start(join(desk.root, 'bee'));
    await desk.post('api/jobs/cancel', { id });
    expect((await desk.ended(id)).state).toBe('cancelled');
    expect((await view(id))?.report ?? null).toBeNull();
  });

  it('is refused outside of the places, and with choices that are none', async () => {
    const outside = await desk.post('api/check', { folder: '/', choices: {} });
    expect([outside.status, outside.body.toString()]).toEqual([409, expect.stringContaining('outside')]);
    const folder = join(desk.root, 'bee');
    for (const choices of [{ skip: ['2'] }, { order: 'size' }, { stepMm: -1 }, { direction: 'up' }]) {
      const refused = await desk.post('api/check', { folder, choices });
      expect([refused.status, refused.body.toString()], JSON.stringify(choices)).toEqual([
        409,
        expect.stringMatching(/Expected .* but received/),
      ]);
    }
    expect((await desk.post('api/check', { folder })).status).toBe(409);
  });
});

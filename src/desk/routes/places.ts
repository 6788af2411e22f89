import { listShape, objectShape, textShape } from '../../result/shape.js';
import { jsonAnswer } from '../../view/local-server.js';
import { findFolder } from '../find-folder.js';
import { listPlace } from '../list-folder.js';
import type { FoundFolders, PlacesView } from '../protocol.js';
import { type DeskRoutes, required, shaped } from '../route.js';
import { renderSample, samplePlace } from '../sample.js';
import { resultAt, stackFacts } from '../stack-facts.js';
import { thumbnail, thumbnailSides } from '../thumbnails.js';

const droppedShape = objectShape<{ name: string; names: string[] }>({
  name: textShape(/^[^/\\]+$/, 'the name of a folder'),
  names: listShape(textShape()),
});

export const placesRoutes: DeskRoutes = {
  'GET /api/places': async (desk) => {
    const roots = desk.roots.all
      .filter(({ isHidden }) => !isHidden)
      .map(({ name, path }) => ({ name, path }));
    return jsonAnswer({ roots, sample: samplePlace(desk.sample) } satisfies PlacesView);
  },
  'POST /api/places/sample': async (desk) => {
    const running = desk.jobs.list().find(({ kind, endedAt }) => kind === 'sample' && endedAt === null);
    return jsonAnswer(running ?? desk.jobs.start(renderSample(desk.sample)));
  },
  'GET /api/folder': async (desk, { query }) =>
    jsonAnswer(await listPlace(desk.roots, required(query, 'path'))),
  'GET /api/stack': async (desk, { query }) =>
    jsonAnswer(await stackFacts(await desk.roots.within(required(query, 'path')))),
  'GET /api/result': async (desk, { query }) =>
    jsonAnswer((await resultAt(await desk.roots.within(required(query, 'path')))) ?? null),
  'GET /thumbnail': async (desk, { query, gone }) => {
    const path = await desk.roots.within(required(query, 'path'));
    const side = thumbnailSides.find((allowed) => String(allowed) === query.get('side'));
    if (side === undefined)
      return { status: 400, message: `Expected ${thumbnailSides.join(', ')} for side.` };
    // Its address holds the time and size of the file.
    return { status: 200, type: 'image/jpeg', body: await thumbnail(path, side, gone), isLasting: true };
  },
  'POST /api/places/find': async (desk, { body, gone }) => {
    const { name, names } = shaped(body, droppedShape);
    return jsonAnswer({ paths: await findFolder(desk.roots, name, names, gone) } satisfies FoundFolders);
  },
};

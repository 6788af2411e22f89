// Writes pages about the library to .cache/api, and fails when anything that is public is not documented.
import { register } from 'node:module';
import { fileURLToPath } from 'node:url';

// The compiler of this program has no interface for tools yet: typedoc gets the last one that has.
const hooks = `export const resolve = (name, context, next) =>
  next(name === 'typescript' ? 'typescript-6' : name, context);`;
register(`data:text/javascript,${encodeURIComponent(hooks)}`, import.meta.url);

const { Application } = await import('typedoc');
const app = await Application.bootstrap({
  name: 'Lamella',
  entryPoints: [path('src/index.ts')],
  tsconfig: path('tsconfig.json'),
  out: path('.cache/api'),
  readme: path('src/guide/library.md'),
  githubPages: false,
  disableSources: true,
  treatWarningsAsErrors: true,
  // Parts of public types that are for Lamella itself.
  intentionallyNotExported: [
    'BatchPlan',
    'LockHolder',
    'NightEvent',
    'NightState',
    'PlannedStack',
    'ResolvedBatch',
    'StartStack',
    'Viewer',
  ],
  validation: { notExported: true, invalidLink: true, notDocumented: true },
  requiredToBeDocumented: ['Function', 'Class', 'Interface', 'TypeAlias', 'Variable'],
});
const project = await app.convert();
if (project) {
  app.validate(project);
  await app.generateOutputs(project);
}
const { errorCount, warningCount } = app.logger;
process.exitCode = project && errorCount + warningCount === 0 ? 0 : 1;

function path(name) {
  return fileURLToPath(new URL(`../${name}`, import.meta.url));
}

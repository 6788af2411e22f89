import { defineConfig } from 'vitest/config';

/** What starts programs, browsers and servers, or changes what belongs to the process. */
const alone = [
  'test/{batch,cli,desk,gpu,outside,torture,view}/**/*.test.ts',
  'test/stack/raw/not-installed.test.ts',
  'test/option-names.test.ts',
];

export default defineConfig({
  test: {
    setupFiles: ['test/property-seed.ts', 'test/remove-folders.ts'],
    testTimeout: 120_000,
    hookTimeout: 240_000,
    // More files at a time would starve each other's merges; one would leave a core idle while processes wait.
    maxWorkers: 2,
    projects: [
      { extends: true, test: { name: 'alone', include: alone } },
      {
        extends: true,
        test: {
          name: 'shared',
          include: ['test/**/*.test.ts'],
          exclude: alone,
          // One process after another file goes on with code that the engine has optimised: each would warm up anew.
          isolate: false,
        },
      },
    ],
  },
});

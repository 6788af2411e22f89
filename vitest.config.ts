import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['test/**/*.test.ts'],
    setupFiles: ['test/property-seed.ts'],
    testTimeout: 120_000,
    hookTimeout: 240_000,
    // More files at a time would starve each other's merges; one would leave a core idle while processes wait.
    maxWorkers: 2,
  },
});

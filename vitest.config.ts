import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['test/**/*.test.ts'],
    setupFiles: ['test/property-seed.ts'],
    testTimeout: 120_000,
    hookTimeout: 240_000,
    // Two cores: one file at a time keeps the merges from starving each other.
    fileParallelism: false,
  },
});

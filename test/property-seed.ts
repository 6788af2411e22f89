import { env } from 'node:process';
import fc from 'fast-check';

/**
 * Property tests draw the same cases in each run of the suite, so that a change is judged by what it changed. To look
 * for cases that were never drawn, give a seed: `LAMELLA_SEED=7 npx vitest run`.
 */
fc.configureGlobal({ seed: Number(env.LAMELLA_SEED ?? 20_261_128) });

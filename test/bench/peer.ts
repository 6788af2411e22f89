import { spawnSync } from 'node:child_process';
import { availableParallelism } from 'node:os';
import { fileURLToPath } from 'node:url';
import { type ProcessUse, runWatched } from './watched-process.js';

const script = fileURLToPath(new URL('./peer.py', import.meta.url));

/** What the peer does where Lamella merges by a rule. */
export const peerRules: Readonly<Record<string, 'depth' | 'pyramid'>> = { auto: 'depth', select: 'pyramid' };

/** A Python that has OpenCV (Debian: python3-opencv); undefined where there is none. */
export function findPython(): string | undefined {
  return ['python3', '/usr/bin/python3'].find(
    (python) => spawnSync(python, ['-c', 'import cv2, numpy'], { stdio: 'ignore' }).status === 0,
  );
}

/** Merges a folder by general calls of OpenCV, see peer.py. */
export function runPeer(python: string, folder: string, out: string, rule: string): Promise<ProcessUse> {
  return runWatched(python, [script, folder, out, peerRules[rule], String(availableParallelism())]);
}

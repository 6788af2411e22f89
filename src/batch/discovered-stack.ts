import type { Size } from '../image/image.js';
import type { InputFile } from './stack-inputs.js';

/** A stack below the root, as found; nothing of it is decoded yet. */
export interface DiscoveredStack {
  /** See `stackKey`. */
  key: string;
  /** Name of its result folder. */
  name: string;
  /** Absolute path. */
  folder: string;
  /** Photographs that can serve as frames. */
  frames: number;
  /** Size of most of them, px. */
  size: Size;
  channels: 1 | 3;
  bits: 8 | 16;
  /** Every file that was meant as a frame, usable or not. */
  files: InputFile[];
  /** For a part of a folder: its first and last frame number in the folder's capture order. */
  part?: [number, number];
}

/** A folder that holds photographs or may hold them, and is no stack. */
export interface PassedFolder {
  folder: string;
  /** A plain sentence. */
  reason: string;
  /** True when it cannot be read: what it holds is not known. */
  unreadable: boolean;
}

/** What lies below the root. */
export interface SearchResult {
  stacks: DiscoveredStack[];
  passed: PassedFolder[];
  /** How a folder of many stacks was parted, one sentence each. */
  partings: string[];
}

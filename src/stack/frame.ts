import type { Size } from '../image/image.js';
import type { RawFile } from './raw/raw-file.js';

/** EXIF of a frame; a field is absent when the file does not contain it. */
export interface FrameExif {
  /** Capture time in milliseconds since 1970 of the camera's clock, sub-seconds included. */
  takenMs?: number;
  hasSubSeconds?: boolean;
  exposureS?: number;
  fNumber?: number;
  iso?: number;
  focalLengthMm?: number;
  /** Distance that the lens was focused to, at most 1e6: so much stands for infinity. */
  focusDistanceM?: number;
  make?: string;
  model?: string;
  lens?: string;
  whiteBalance?: string;
}

/** Factors, per side, by which a preview is smaller than its photographs. */
export type PreviewFactor = 2 | 4 | 8;

/** How a frame that is used reduced comes from its file. */
export interface FrameReduction {
  factor: PreviewFactor;
  /** Size of the picture in the file, upright. */
  fileSize: Size;
}

/** One photograph of a stack, as listed; pixels are decoded on demand by `decodeFrame`. */
export interface FrameFile {
  /** 1-based index in capture order: the number that maps, options and messages use. */
  number: number;
  path: string;
  name: string;
  sizeBytes: number;
  modifiedMs: number;
  /** Identity of the file as it was listed, see `fileMarkOf`; absent when it was not listed from a folder. */
  fileMark?: string;
  /** Size in pixels after the orientation tag is applied; of a frame used reduced, that of the reduced picture. */
  size: Size;
  /** Set where the frame is used reduced, for a preview. */
  reduced?: FrameReduction;
  bits: 8 | 16;
  /** Channels of the decoded frame: alpha is dropped. */
  channels: 1 | 3;
  hasAlpha: boolean;
  format: 'jpeg' | 'png' | 'tiff' | 'webp' | 'raw';
  /** EXIF orientation 1 to 8. */
  orientation: number;
  exif: FrameExif;
  /** Of a camera raw file, whose format is `raw`. */
  raw?: RawFile;
}

/** Subject of a note on a stack, for programs: the wording of sentences may change. */
export type StackNoteKind =
  /** A photograph that is empty, damaged or cannot be read. */
  | 'lost'
  /** A picture that cannot be a frame as it is, and one of another size than the frames. */
  | 'unfit'
  | 'odd-size'
  /** Camera raw files; and names that occur with two endings. */
  | 'raw'
  | 'twins'
  /** The order of the frames: may surprise, differs from that of the names, is uncertain. */
  | 'order'
  | 'order-differs'
  | 'order-contradicts'
  /** Files that are ignored, and conversions of frames on reading. */
  | 'ignored'
  | 'reading';

/** A plain sentence for the user about a listed stack. */
export interface StackNote {
  kind: StackNoteKind;
  message: string;
  /** Number of the frame, where it is about one that has a number. */
  number?: number;
}

/** A listed stack: frames of one size in capture order. */
export interface Stack {
  folder: string;
  frames: FrameFile[];
  /** Photographs in the folder that got a number, those that are not in `frames` included. */
  photographs: number;
  size: Size;
  bits: 8 | 16;
  channels: 1 | 3;
  /** Set where the frames are used reduced, for a preview; `size` is then that of the reduced frames. */
  reduced?: FrameReduction;
  orderedBy: 'exif time' | 'name';
  /** Notes: ignored files, dropped alpha, the order. Warnings: frames that are left out. */
  notes: StackNote[];
  warnings: StackNote[];
}

import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';
import { UsageError } from '../../errors.js';
import { optionalPackage } from '../../optional-package.js';

/** Settings of LibRaw that are used here; its documentation calls them by the same words. */
export interface LibRawSettings {
  outputBps: 16;
  /** 0: as it lies on the sensor; absent: upright. */
  userFlip?: 0;
  noAutoBright: true;
  /** 0: the white level is never lowered to the brightest sample of a file. */
  adjustMaximumThr: 0;
  /** 0: what is brighter than the white level is clipped to white. */
  highlight: 0;
  /** Multipliers of red, green, blue and the second green. */
  userMul: number[];
  /** 0 the camera's own colours, 1 sRGB, 7 Display P3, 8 Rec. 2020. */
  outputColor: 0 | 1 | 7 | 8;
  /** 1 / power and slope of the toe, then four zeros that LibRaw fills. */
  gamm: number[];
  /** Factor of the light. */
  bright: number;
  /** 3: adaptive homogeneity-directed interpolation of the mosaic (Hirakawa and Parks 2005). */
  userQual: 3;
  /** Black level that is common to all samples, and what is added to it at the four positions of the mosaic. */
  userBlack?: number;
  userCblack?: number[];
  /** White level, counted from black. */
  userSat?: number;
  /** A pixel for each 2 x 2 samples of the mosaic. */
  halfSize: boolean;
  noAutoScale?: boolean;
  noInterpolation?: boolean;
}

/** Metadata of LibRaw that is used here. */
export interface LibRawMetadata {
  /** Of the active area, upright; see `sensorSize`. */
  width: number;
  height: number;
  top_margin: number;
  left_margin: number;
  /** What is done to the sensor's picture. Bits: 1 mirrored left to right, 2 upside down, 4 then transposed. */
  flip: number;
  camera_make: string;
  camera_model: string;
  iso_speed: number;
  shutter: number;
  aperture: number;
  focal_len: number;
  /** Seconds since 1970 of a clock that runs on local time. */
  timestamp: number;
  colors: number;
  filters: number;
  color_data: {
    black: number;
    maximum: number;
    cam_mul: (number | null)[];
    pre_mul: (number | null)[];
    /** Camera's colours to linear sRGB, three rows; exactly those of no change where neither file nor LibRaw has a matrix. */
    rgb_cam: number[][];
  };
  /** Crop that the camera recommends, from the corner of the whole sensor; without a width where it is not known. */
  raw_inset_crops: { cleft: number; ctop: number; cwidth: number; cheight: number }[];
  lens: { Lens: string };
}

/** One file in LibRaw. */
export interface LibRawFile {
  open(bytes: Uint8Array, settings?: Partial<LibRawSettings>): void;
  metadata(full: boolean): LibRawMetadata;
  imageData(): { width: number; height: number; colors: number; bits: number; data: Uint16Array };
  /** The preview that is in the file; undefined where there is none. */
  thumbnailData(): { width: number; height: number; format: string; data: Uint8Array } | undefined;
  rawImageData(): { raw_width: number; data: Uint16Array } | undefined;
  delete(): void;
}

/** What a worker needs to run LibRaw. */
export interface LibRawSetup {
  script: string;
  module: WebAssembly.Module;
}

const packageName = 'libraw-wasm';

let setup: Promise<LibRawSetup> | undefined;

/**
 * Finds and compiles LibRaw, once. It is optional: who merges no raw files can do without.
 *
 * @throws UsageError that says how to install it.
 */
export function findLibRaw(): Promise<LibRawSetup> {
  setup ??= load();
  return setup;
}

async function load(): Promise<LibRawSetup> {
  const require = createRequire(import.meta.url);
  try {
    // The package's own entry needs a browser.
    const script = require.resolve(`${packageName}/dist/libraw.js`);
    const bytes = await readFile(require.resolve(`${packageName}/dist/libraw.wasm`));
    return { script: pathToFileURL(script).href, module: await WebAssembly.compile(bytes) };
  } catch (error) {
    const wanted = optionalPackage(packageName);
    throw new UsageError(
      `Camera raw files are developed by the package ${packageName}, which is not installed. Install it where Lamella is installed: npm install ${wanted} (npm install -g ${wanted} if Lamella was installed with -g). Or develop the files to 16-bit TIFF first, all with the same settings.`,
      { cause: error },
    );
  }
}

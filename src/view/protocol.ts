/** What server and page exchange; shared by both, so it knows neither Node nor the DOM. */

export interface PageSize {
  width: number;
  height: number;
}

export interface PageRectangle extends PageSize {
  x: number;
  y: number;
}

export type PageRegion =
  | ({ kind: 'rectangle' } & PageRectangle)
  | { kind: 'polygon'; points: [number, number][] }
  | { kind: 'stroke'; points: [number, number][]; widthPx: number };

export type PageRule = 'auto' | 'select' | 'weigh';

/** As in mends.json. */
export interface PageMend {
  id: number;
  frame: number;
  rule?: PageRule | undefined;
  region: PageRegion;
  featherPx: number;
  note: string;
  kept: boolean;
}

export interface PageFrame {
  number: number;
  name: string;
  /** Plane of focus in the unit of depth; null when unknown. */
  depth: number | null;
  sharePercent: number;
  used: boolean;
  leftOutReason: string | null;
  /** False when its photograph is not where it was. */
  isThere: boolean;
  /** Composite pixels per frame pixel. */
  scale: number;
}

export interface PageCoverageClass {
  name: string;
  meaning: string;
  colour: string;
  percent: number;
}

export interface ResultInfo {
  name: string;
  size: PageSize;
  bits: 8 | 16;
  unit: 'mm' | 'step';
  /** Range of depths that colours and ruler span, near to far; null when no pixel has a depth. */
  depthRange: { near: number; far: number } | null;
  /** Side of a pixel at the anchor's plane of focus. */
  mmPerPixel: number | null;
  anchor: number;
  /** The source rule of the merge. */
  rule: PageRule;
  frames: PageFrame[];
  coverage: PageCoverageClass[];
  /** Colours of depth from near to far, #rrggbb, evenly spaced. */
  depthColours: string[];
  mends: PageMend[];
  /** Ids of the mends that are in the saved picture as recorded. */
  applied: number[];
  tileSize: number;
  /** Changes whenever the maps on disk do; part of the address of their tiles. */
  mapsKey: string;
  warnings: string[];
}

export interface Spot {
  x: number;
  y: number;
  /** Absent while a map is still being opened. */
  depth?: number | null;
  confidence?: number;
  coverage?: string;
  /** Frames that supplied the neighbourhood, the largest share first, shares 0 to 1. */
  sources?: [frame: number, share: number][];
  /** Focus measure by index among `frames` in use; null where unknown; absent before anything is measured. */
  curve?: (number | null)[];
}

export interface Section {
  /** Depth at evenly spaced points from end to end; null where none. */
  depths: (number | null)[];
  /** The line as `lamella measure` finds it. */
  profile: PageMeasure & { length: PageLength };
}

/** A length in the picture. */
export interface PageLength {
  value: number;
  unit: 'mm' | 'px';
}

/** A measure in the words of `lamella measure`. */
export interface PageMeasure {
  kind: string;
  place: string;
  note: string;
  quantities: { name: string; text: string; isKnown: boolean }[];
  remarks: string[];
}

/** A measure that is kept with the result. */
export interface KeptMeasure extends PageMeasure {
  id: number;
  /** Taken before the depth was changed. */
  isOutdated: boolean;
  /** Composite pixels; null where a region was measured. */
  points: [number, number][] | null;
  middle: [number, number];
}

export interface KeptMeasures {
  measures: KeptMeasure[];
}

/** What is measured on the page to be kept. */
export interface PageMeasureRequest {
  kind: 'distance' | 'profile';
  points: [number, number][];
  note: string;
}

export interface Progress {
  /** Frames whose focus has been measured for the curve, of `frames`. */
  measured: number;
  frames: number;
  mapsReady: boolean;
  problem: string | null;
}

export interface Candidates {
  /** Frames that are sharp in the region, the best first. */
  frames: { number: number; measure: number | null; sharePercent: number }[];
  /** All frames that a mend of the region may be taken from, by number. */
  possible: number[];
  /** The rectangle of the composite that crops of them show. */
  crop: PageRectangle;
  /** The feather that suits the region. */
  featherPx: number;
  /** Other rules that can merge the region anew; none where frames are missing or it is too large. */
  rules: PageRule[];
  /** What is merged anew for it; part of the address of what they make. */
  window: PageRectangle;
}

/** Where the choice of frames is uncertain, and shows. */
export interface DoubtfulPlace {
  region: PageRectangle;
  /** Mean confidence, 0 to 1. */
  confidence: number;
  /** How much a wrong choice would show, levels of 8 bits. */
  contrast: number;
}

export interface DoubtfulPlaces {
  /** Those where most is at stake first; undefined until the focus of all frames is measured. */
  places: DoubtfulPlace[] | null;
}

export interface Preview {
  /** Part of the address of tiles that show these mends. */
  key: string;
  tookMs: number;
}

export interface Refusal {
  message: string;
}

import { srgbByte } from './srgb.js';

/** Ends of the ramp in CIELAB (D65): a dark blue and a light yellow, both inside sRGB, as is the line between them. */
const darkLab = [20, 16, -40] as const;
const lightLab = [90, -6, 68] as const;

/** White point D65 of IEC 61966-2-1, Y = 1. */
const whiteX = 0.95047;
const whiteZ = 1.08883;

/**
 * The colour of a depth, and of the frame at that depth, wherever one is shown: 0 the farthest, 1 the nearest. A
 * straight line through CIELAB: lightness rises by equal steps, as P. Kovesi asks of a colour map ("Good colour maps:
 * how to design them", arXiv:1509.03700, 2015), so equal differences of depth look equal and lightness alone gives
 * their order. It runs from blue to yellow while the red-green coordinate hardly changes, so it reads the same with
 * red-green colour blindness, and in grey.
 *
 * @returns sRGB, 0 to 255; values beyond 0 to 1 take the colours of the ends.
 */
export function depthColour(value: number): [number, number, number] {
  const t = Math.min(1, Math.max(0, value));
  const [lightness, greenRed, blueYellow] = darkLab.map((dark, i) => dark + (lightLab[i] - dark) * t);
  return labToSrgb(lightness, greenRed, blueYellow);
}

const tableSize = 1024;
let table: (readonly [number, number, number])[] | undefined;

/** As `depthColour`, for every pixel of a picture: looked up among 1024 values, finer than 8 bits show. */
export function tableDepthColour(value: number): readonly [number, number, number] {
  table ??= Array.from({ length: tableSize }, (_, i) => depthColour(i / (tableSize - 1)));
  return table[Math.round(Math.min(1, Math.max(0, value)) * (tableSize - 1))];
}

/** `count` colours of depth as #rrggbb, evenly spaced from the nearest to the farthest: stops of a gradient. */
export function depthStops(count: number): string[] {
  return Array.from({ length: count }, (_, i) => {
    const rgb = depthColour(1 - i / (count - 1));
    return `#${rgb.map((byte) => byte.toString(16).padStart(2, '0')).join('')}`;
  });
}

/** The two greys of the stripes that stand for "nothing here", 0 to 255. */
export const hatchGreys = [64, 112] as const;

/** Slanted stripes in two greys at a pixel of a picture: no colour of a map. */
export function hatchGrey(x: number, y: number): number {
  return (x + y) % 8 < 3 ? hatchGreys[0] : hatchGreys[1];
}

/** CIE 15:2004 from L*a*b* to XYZ, then IEC 61966-2-1 from XYZ to sRGB. */
function labToSrgb(lightness: number, greenRed: number, blueYellow: number): [number, number, number] {
  const fy = (lightness + 16) / 116;
  const x = whiteX * labCube(fy + greenRed / 500);
  const y = labCube(fy);
  const z = whiteZ * labCube(fy - blueYellow / 200);
  return [
    srgbByte(3.2406 * x - 1.5372 * y - 0.4986 * z),
    srgbByte(-0.9689 * x + 1.8758 * y + 0.0415 * z),
    srgbByte(0.0557 * x - 0.204 * y + 1.057 * z),
  ];
}

function labCube(f: number): number {
  return f > 6 / 29 ? f ** 3 : 3 * (6 / 29) ** 2 * (f - 4 / 29);
}

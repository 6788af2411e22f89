/** A line through points; of one point a dot. Heights count from the top of a capital, 0, to its foot, 1. */
type Stroke = readonly (readonly [x: number, y: number])[];

interface Glyph {
  width: number;
  strokes: readonly Stroke[];
}

/** Half the width of a stroke, between letters, and what hangs below the line, as parts of the height of a capital. */
const [halfStroke, gap, descent] = [0.065, 0.14, 0.26];
const arcPoints = 24;

/** A part of an ellipse; degrees from the right, downward. */
function arc(x: number, y: number, rx: number, ry: number, from: number, to: number): Stroke {
  return Array.from({ length: arcPoints + 1 }, (_, i) => {
    const angle = ((from + ((to - from) * i) / arcPoints) * Math.PI) / 180;
    return [x + rx * Math.cos(angle), y + ry * Math.sin(angle)];
  });
}

/** Our own letters of even strokes, for pictures that must be labelled without any font. */
const glyphs: Record<string, Glyph> = {
  '0': { width: 0.6, strokes: [arc(0.3, 0.5, 0.24, 0.44, 0, 360)] },
  '1': {
    width: 0.4,
    strokes: [
      [
        [0.08, 0.25],
        [0.28, 0.06],
        [0.28, 0.94],
      ],
    ],
  },
  '2': { width: 0.6, strokes: [[...arc(0.3, 0.3, 0.24, 0.24, 190, 395), [0.07, 0.94], [0.54, 0.94]]] },
  '3': {
    width: 0.6,
    strokes: [arc(0.28, 0.28, 0.22, 0.22, 200, 450), arc(0.28, 0.71, 0.26, 0.23, 270, 520)],
  },
  '4': {
    width: 0.6,
    strokes: [
      [
        [0.43, 0.94],
        [0.43, 0.06],
        [0.05, 0.69],
        [0.57, 0.69],
      ],
    ],
  },
  '5': {
    width: 0.6,
    strokes: [[[0.5, 0.06], [0.14, 0.06], [0.11, 0.44], ...arc(0.29, 0.65, 0.25, 0.29, 225, 510)]],
  },
  '6': {
    width: 0.6,
    strokes: [
      arc(0.3, 0.65, 0.24, 0.29, 0, 360),
      [
        [0.46, 0.06],
        [0.28, 0.2],
        [0.12, 0.42],
        [0.06, 0.65],
      ],
    ],
  },
  '7': {
    width: 0.6,
    strokes: [
      [
        [0.06, 0.06],
        [0.54, 0.06],
        [0.22, 0.94],
      ],
    ],
  },
  '8': { width: 0.6, strokes: [arc(0.3, 0.27, 0.2, 0.21, 0, 360), arc(0.3, 0.71, 0.25, 0.23, 0, 360)] },
  '9': {
    width: 0.6,
    strokes: [
      arc(0.3, 0.35, 0.24, 0.29, 0, 360),
      [
        [0.14, 0.94],
        [0.32, 0.8],
        [0.48, 0.58],
        [0.54, 0.35],
      ],
    ],
  },
  '.': { width: 0.16, strokes: [[[0.08, 0.93]]] },
  m: {
    width: 0.88,
    strokes: [
      [
        [0.08, 0.36],
        [0.08, 0.94],
      ],
      [...arc(0.26, 0.56, 0.18, 0.2, 180, 360), [0.44, 0.94]],
      [...arc(0.62, 0.56, 0.18, 0.2, 180, 360), [0.8, 0.94]],
    ],
  },
  µ: {
    width: 0.56,
    strokes: [
      [
        [0.08, 0.36],
        [0.08, 1.2],
      ],
      arc(0.28, 0.7, 0.2, 0.24, 180, 0),
      [
        [0.48, 0.36],
        [0.48, 0.94],
      ],
    ],
  },
};
const blank: Glyph = { width: 0.3, strokes: [] };

/** Width and height of a label whose capitals are so high, px; characters without a shape leave a gap. */
export function labelSize(text: string, capitalPx: number): { width: number; height: number } {
  const letters = [...text].map((letter) => glyphs[letter] ?? blank);
  const width = letters.reduce((sum, letter) => sum + letter.width, gap * (letters.length - 1));
  return { width: Math.ceil(width * capitalPx), height: Math.ceil((1 + descent) * capitalPx) };
}

/**
 * Draws a label with soft edges: calls `ink` for every pixel that it covers, x from the left, y from the top, with the share
 * that it covers, above 0 to 1.
 */
export function drawStrokes(
  text: string,
  capitalPx: number,
  ink: (x: number, y: number, share: number) => void,
): void {
  const { width, height } = labelSize(text, capitalPx);
  const strokes: Stroke[] = [];
  let left = 0;
  for (const letter of text) {
    const { width: own, strokes: lines } = glyphs[letter] ?? blank;
    for (const line of lines) strokes.push(line.map(([x, y]) => [(left + x) * capitalPx, y * capitalPx]));
    left += own + gap;
  }
  // Never much thinner than a pixel.
  const half = Math.max(0.6, halfStroke * capitalPx);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const away = strokes.reduce(
        (least, line) => Math.min(least, distanceTo(line, x + 0.5, y + 0.5)),
        Infinity,
      );
      const share = Math.max(0, Math.min(1, half - away + 0.5));
      if (share > 0) ink(x, y, share);
    }
  }
}

/** Distance of a point from a line through points. */
function distanceTo(line: Stroke, x: number, y: number): number {
  let least = Number.POSITIVE_INFINITY;
  for (let i = 0; i < line.length; i++) {
    const [x0, y0] = line[Math.max(0, i - 1)];
    const [dx, dy] = [line[i][0] - x0, line[i][1] - y0];
    const length = dx * dx + dy * dy;
    const t = length === 0 ? 0 : Math.max(0, Math.min(1, ((x - x0) * dx + (y - y0) * dy) / length));
    least = Math.min(least, Math.hypot(x - x0 - t * dx, y - y0 - t * dy));
  }
  return least;
}

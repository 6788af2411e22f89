/** Pixels x to x + width - 1, y to y + height - 1. */
export interface Rectangle {
  x: number;
  y: number;
  width: number;
  height: number;
}

/** Side of the tiles that rectangles are made of, px. */
const tile = 16;

/**
 * Rectangles, 16 px high, that cover the tiles of a mask, (height, width), which stay 1 out to `reach` px around.
 * Tiles nearer than `reach` to the border are left out.
 */
export function plainRectangles(mask: Uint8Array, width: number, height: number, reach: number): Rectangle[] {
  const marred = integralOfZeros(mask, width, height);
  const rectangles: Rectangle[] = [];
  for (let y = Math.ceil(reach / tile) * tile; y + tile + reach <= height; y += tile) {
    let open: Rectangle | undefined;
    for (let x = Math.ceil(reach / tile) * tile; x + tile + reach <= width; x += tile) {
      if (countIn(marred, width, x - reach, y - reach, x + tile + reach, y + tile + reach) > 0) {
        open = undefined;
      } else if (open === undefined) {
        open = { x, y, width: tile, height: tile };
        rectangles.push(open);
      } else {
        open.width += tile;
      }
    }
  }
  return rectangles;
}

/** Integral image of the zeros of a mask, (height + 1, width + 1). */
function integralOfZeros(mask: Uint8Array, width: number, height: number): Uint32Array {
  const sums = new Uint32Array((width + 1) * (height + 1));
  for (let y = 0; y < height; y++) {
    let row = 0;
    for (let x = 0; x < width; x++) {
      row += 1 - mask[y * width + x];
      sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + row;
    }
  }
  return sums;
}

function countIn(
  sums: Uint32Array,
  width: number,
  left: number,
  top: number,
  right: number,
  bottom: number,
): number {
  const stride = width + 1;
  return (
    sums[bottom * stride + right] -
    sums[top * stride + right] -
    sums[bottom * stride + left] +
    sums[top * stride + left]
  );
}

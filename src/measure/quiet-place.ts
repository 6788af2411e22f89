import type { Size } from '../image/image.js';
import type { Picture } from '../result/write-composite.js';
import type { PictureRegion } from '../trace/picture-region.js';

/** Cells along the longer side, at most: detail is summed by them. */
const maxCells = 1000;

/**
 * Where a box hides least: the place along the lower or upper edge of a picture with the least detail, which is the mean
 * difference of neighbouring pixels. Of equals the one farther down and to the right.
 *
 * @param margin Between box and edge, px.
 */
export function quietPlace(picture: Picture, box: Size, margin: number): PictureRegion {
  const { width, height } = picture;
  const cell = Math.max(1, Math.ceil(Math.max(width, height) / maxCells));
  const sums = detailSums(picture, cell);
  const columns = Math.ceil(width / cell);
  const detailIn = (x: number, y: number): number => {
    const [left, top] = [Math.floor(x / cell), Math.floor(y / cell)];
    const right = Math.min(columns, Math.ceil((x + box.width) / cell));
    const bottom = Math.min(Math.ceil(height / cell), Math.ceil((y + box.height) / cell));
    const at = (column: number, row: number) => sums[row * (columns + 1) + column];
    return (
      (at(right, bottom) - at(left, bottom) - at(right, top) + at(left, top)) /
      ((right - left) * (bottom - top))
    );
  };
  const lastX = Math.max(0, width - box.width - margin);
  const rows = [
    Math.max(0, height - box.height - margin),
    Math.min(margin, Math.max(0, height - box.height)),
  ];
  let best = { x: lastX, y: rows[0], detail: Number.POSITIVE_INFINITY };
  for (const y of rows) {
    for (let x = lastX; x >= Math.min(margin, lastX); x -= cell) {
      const detail = detailIn(x, y);
      if (detail < best.detail) best = { x, y, detail };
    }
  }
  return { x: best.x, y: best.y, ...box };
}

/** Sums of detail over the cells above and left of each corner, (rows + 1, columns + 1). */
function detailSums({ pixels, width, height, channels }: Picture, cell: number): Float64Array {
  const columns = Math.ceil(width / cell);
  const rows = Math.ceil(height / cell);
  const sums = new Float64Array((rows + 1) * (columns + 1));
  const unit = pixels instanceof Uint16Array ? 257 : 1;
  for (let row = 0; row < rows; row++) {
    const bottom = Math.min(height - 1, (row + 1) * cell);
    for (let column = 0; column < columns; column++) {
      const right = Math.min(width - 1, (column + 1) * cell);
      let sum = 0;
      let count = 0;
      for (let y = row * cell; y < bottom; y++) {
        for (let x = column * cell; x < right; x++) {
          const i = (y * width + x) * channels;
          for (let c = 0; c < channels; c++) {
            sum +=
              Math.abs(pixels[i + c] - pixels[i + channels + c]) +
              Math.abs(pixels[i + c] - pixels[i + width * channels + c]);
          }
          count++;
        }
      }
      const detail = count > 0 ? sum / (count * channels * unit) : 0;
      const at = (row + 1) * (columns + 1) + column + 1;
      sums[at] = detail + sums[at - 1] + sums[at - columns - 1] - sums[at - columns - 2];
    }
  }
  return sums;
}

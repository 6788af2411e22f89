import { type RowSource, takeSamples } from '../mend/raster.js';
import { clipRegion, growRegion, type PictureRegion } from '../trace/picture-region.js';

/** The samples of a pixel. */
export function onePixel(source: RowSource, x: number, y: number) {
  const pixel = takeSamples(source.bits, source.channels);
  source.readRow(y, x, 1, pixel);
  return pixel;
}

/** Values of the square about a pixel with their shares, 0 to 1, the largest first. */
export function sharesAround(source: RowSource, x: number, y: number, radius: number): [number, number][] {
  const region = clipRegion(growRegion({ x, y, width: 1, height: 1 }, radius), source)!;
  return sharesIn(source, region);
}

/** Rows and columns of a region that are counted, at most. */
const countedPerSide = 256;

/** Values of a region with their shares, 0 to 1, the largest first. */
export function sharesIn(source: RowSource, region: PictureRegion): [number, number][] {
  const row = takeSamples(source.bits, region.width);
  const counts = new Map<number, number>();
  const stepX = Math.ceil(region.width / countedPerSide);
  const stepY = Math.ceil(region.height / countedPerSide);
  let all = 0;
  for (let y = 0; y < region.height; y += stepY) {
    source.readRow(region.y + y, region.x, region.width, row);
    for (let x = 0; x < region.width; x += stepX) {
      counts.set(row[x], (counts.get(row[x]) ?? 0) + 1);
      all++;
    }
  }
  return [...counts]
    .sort((first, second) => second[1] - first[1])
    .map(([frame, count]): [number, number] => [frame, count / all]);
}

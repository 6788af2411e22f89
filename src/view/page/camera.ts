import type { PageSize } from '../protocol.js';

/** Where the picture lies on the screen: screen = picture * scale + offset, in CSS pixels; pixel centres at integers. */
export interface Camera {
  scale: number;
  x: number;
  y: number;
}

const greatestScale = 32;

/** The whole picture, centred. */
export function fitCamera(picture: PageSize, screen: PageSize): Camera {
  const scale = Math.min(screen.width / picture.width, screen.height / picture.height, 8);
  return {
    scale,
    x: (screen.width - (picture.width - 1) * scale) / 2,
    y: (screen.height - (picture.height - 1) * scale) / 2,
  };
}

export function toScreen(camera: Camera, x: number, y: number): [number, number] {
  return [x * camera.scale + camera.x, y * camera.scale + camera.y];
}

export function toPicture(camera: Camera, x: number, y: number): [number, number] {
  return [(x - camera.x) / camera.scale, (y - camera.y) / camera.scale];
}

/** Zooms by a factor so that what lies under the screen point stays there. */
export function zoomAt(
  camera: Camera,
  factor: number,
  x: number,
  y: number,
  picture: PageSize,
  screen: PageSize,
): Camera {
  const minScale = Math.min(1, fitCamera(picture, screen).scale) / 2;
  const scale = Math.max(minScale, Math.min(greatestScale, camera.scale * factor));
  const ratio = scale / camera.scale;
  return keepInSight(
    { scale, x: x - (x - camera.x) * ratio, y: y - (y - camera.y) * ratio },
    picture,
    screen,
  );
}

/** The camera moved so that the screen's middle stays over the picture. */
export function keepInSight(camera: Camera, picture: PageSize, screen: PageSize): Camera {
  const clamp = (offset: number, length: number, room: number) =>
    Math.max(room / 2 - (length - 1) * camera.scale, Math.min(room / 2, offset));
  return {
    scale: camera.scale,
    x: clamp(camera.x, picture.width, screen.width),
    y: clamp(camera.y, picture.height, screen.height),
  };
}

/** The level whose pixels are at least as fine as the screen's. */
export function levelFor(scale: number, pixelRatio: number, levels: number): number {
  const level = Math.floor(Math.log2(1 / (scale * pixelRatio)) + 0.01);
  return Math.max(0, Math.min(levels - 1, level));
}

/** Levels down to one tile; as on the server. */
export function levelCount({ width, height }: PageSize, tileSize: number): number {
  let levels = 1;
  while (Math.max(width, height) > tileSize * 2 ** (levels - 1)) levels++;
  return levels;
}

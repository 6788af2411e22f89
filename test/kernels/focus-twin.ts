import { at, channelOf, type Plane, pictureOf, windowed } from './kernel-rig.js';

/** Luma of interleaved RGB samples, 0 to 255: the weights of ITU-R BT.601. */
export function lumaOf(samples: Uint8Array | Uint16Array, width: number, height: number): Plane {
  const [red, green, blue] = [0, 1, 2].map((c) => channelOf(samples, width, height, c));
  return pictureOf(
    width,
    height,
    (x, y) => 0.299 * at(red, x, y) + 0.587 * at(green, x, y) + 0.114 * at(blue, x, y),
  );
}

/** Code of the windowed squared modified Laplacian, in 1/512 octave. */
export function codesOf(luma: Plane): Plane {
  const { width, height } = luma;
  const energy = pictureOf(width, height, (x, y) => {
    const twice = 2 * at(luma, x, y);
    return (
      (twice - at(luma, x - 1, y) - at(luma, x + 1, y)) ** 2 +
      (twice - at(luma, x, y - 1) - at(luma, x, y + 1)) ** 2
    );
  });
  return pictureOf(width, height, (x, y) => 512 * (Math.log2(windowed(energy, x, y) + 2 ** -20) + 20));
}

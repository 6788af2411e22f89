import { InputError } from '../errors.js';
import type { CoverageClassRecord } from '../result/run-record.js';

/** Coverage classes by palette index and by colour: decoders hand out no indices. */
export class CoverageColours {
  private readonly indices: Map<number, number>;
  private readonly colours: number[] = [];

  /** @param path The file, for the message. */
  constructor(
    classes: readonly CoverageClassRecord[],
    private readonly path: string,
  ) {
    const packed = classes.map(({ colour, value }): [number, number] => [
      Number.parseInt(colour.slice(1), 16),
      value,
    ]);
    this.indices = new Map(packed);
    for (const [colour, value] of packed) this.colours[value] = colour;
  }

  /** Indices of interleaved RGB. Throws InputError for a colour of no class. */
  toIndices(rgb: Uint8Array): Uint8Array {
    const indices = new Uint8Array(rgb.length / 3);
    // Neighbours mostly share a class: the map is looked up only where it changes.
    let last = -1;
    let value = 0;
    for (let i = 0, at = 0; i < indices.length; i++, at += 3) {
      const colour = (rgb[at] << 16) | (rgb[at + 1] << 8) | rgb[at + 2];
      if (colour !== last) {
        const found = this.indices.get(colour);
        if (found === undefined) {
          throw new InputError(`${this.path} has a colour of no coverage class. Merge the stack again.`);
        }
        value = found;
        last = colour;
      }
      indices[i] = value;
    }
    return indices;
  }

  /** Interleaved RGB of indices that `toIndices` gave. */
  toColours(indices: Uint8Array): Uint8Array {
    const rgb = new Uint8Array(indices.length * 3);
    for (let i = 0, at = 0; i < indices.length; i++, at += 3) {
      const colour = this.colours[indices[i]];
      rgb[at] = colour >> 16;
      rgb[at + 1] = colour >> 8;
      rgb[at + 2] = colour;
    }
    return rgb;
  }
}

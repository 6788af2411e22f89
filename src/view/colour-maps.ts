/**
 * Two published colour maps, every fifth of their 256 colours, straight lines between them (within 1 of 255 for the
 * first, 4 for the second). Both rise evenly in lightness and read the same with the common kinds of colour vision.
 *
 * depth: "viridis" of N. Smith and S. van der Walt (2015), released by its authors as CC0.
 * confidence: "cividis" of Nuñez, Anderton & Renslow, "Optimizing colormaps with consideration for color vision
 * deficiency", PLoS ONE 13(7) e0199239 (2018).
 */
const stops = {
  depth:
    '440154 46085c 471063 481769 481d6f 482475 472a7a 46307e 453781 433d84 414287 3f4889 3d4e8a ' +
    '3a538b 38598c 355e8d 33638d 31688e 2e6d8e 2c718e 2a768e 297b8e 27808e 25848e 23898e 218e8d ' +
    '20928c 1f978b 1e9c89 1fa188 21a585 24aa83 28ae80 2eb37c 35b779 3dbc74 46c06f 50c46a 5ac864 ' +
    '65cb5e 70cf57 7cd250 89d548 95d840 a2da37 b0dd2f bddf26 cae11f d8e219 e5e419 f1e51d fde725',
  confidence:
    '00224e 002656 002a5f 002d68 003070 083370 163770 203a6f 273e6e 2e416d 34456c 3a486c 3f4c6c ' +
    '444f6c 49536c 4e566c 535a6d 575d6d 5c616e 60646f 656870 696b71 6d6f72 727274 767676 7a7a78 ' +
    '7e7d78 838179 888578 8d8878 928c78 969077 9b9476 a09875 a59c74 aaa073 afa471 b5a86f baac6d ' +
    'bfb06b c4b468 c9b965 cfbd62 d4c15f dac65b dfca57 e5cf52 ead34c f0d846 f6dd3f fce236 fee838',
} as const;

export type ColourMapName = keyof typeof stops;

/** Colours from low to high as #rrggbb. */
export function colourStops(name: ColourMapName): string[] {
  return stops[name].split(' ').map((hex) => `#${hex}`);
}

const tableSize = 1024;
const tables = new Map<ColourMapName, Uint8Array>();

/** Red, green and blue of 1024 evenly spaced values from 0 to 1, (1024, 3). */
export function colourTable(name: ColourMapName): Uint8Array {
  const known = tables.get(name);
  if (known) return known;
  const colours = stops[name].split(' ').map((hex) => Number.parseInt(hex, 16));
  const table = new Uint8Array(tableSize * 3);
  for (let i = 0; i < tableSize; i++) {
    const at = (i / (tableSize - 1)) * (colours.length - 1);
    const below = Math.min(colours.length - 2, Math.floor(at));
    for (let channel = 0; channel < 3; channel++) {
      const shift = 16 - 8 * channel;
      const low = (colours[below] >> shift) & 255;
      const high = (colours[below + 1] >> shift) & 255;
      table[i * 3 + channel] = Math.round(low + (high - low) * (at - below));
    }
  }
  tables.set(name, table);
  return table;
}

/** Place in a colour table of a value from 0 to 1, times 3. */
export function tablePlace(value: number): number {
  return Math.round(Math.min(1, Math.max(0, value)) * (tableSize - 1)) * 3;
}

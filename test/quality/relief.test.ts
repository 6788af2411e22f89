import { expect, it } from 'vitest';
import { measureShape } from './relief/measure-shapes.js';
import { shapes } from './relief/shapes.js';

it.each(shapes)('a merged stack of a $name of known size has that size', async (shape) => {
  for (const { what, unit, truth, within, found, uncertainty } of await measureShape(shape)) {
    if (process.env.LAMELLA_SHOW_FIGURES) console.log(what, found, unit, truth, within, uncertainty);
    expect(Math.abs(found - truth), `${what}: ${found} ${unit} for ${truth}`).toBeLessThanOrEqual(within);
    if (uncertainty !== undefined) {
      expect(uncertainty, `${what}: ${found} ${unit}`).toBeGreaterThanOrEqual(Math.abs(found - truth));
    }
  }
});

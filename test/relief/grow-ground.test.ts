import { expect, it } from 'vitest';
import { growGround } from '../../src/relief/grow-ground.js';

const size = { width: 120, height: 60 };

/** A brown head on the left, from which a pale hair of three pixels grows before a soft green ground. */
function scene(groundAt: (x: number) => number = (x) => 70 + x / 8) {
  const depth = new Float32Array(size.width * size.height);
  const colours = new Uint8Array(3 * depth.length);
  const what = new Array<'head' | 'hair' | 'flap' | 'ground'>(depth.length);
  for (let i = 0; i < depth.length; i++) {
    const [x, y] = [i % size.width, Math.floor(i / size.width)];
    what[i] = x < 40 ? 'head' : Math.abs(y - 30) < 2 ? 'hair' : Math.abs(y - 30) < 16 ? 'flap' : 'ground';
    const shade = groundAt(x) + ((x * 7 + y * 13) % 5) - 2;
    const texture = ((x * 31 + y * 17) % 40) - 20;
    const colour =
      what[i] === 'head'
        ? [120 + texture, 70 + texture, 30]
        : what[i] === 'hair'
          ? [230, 225, 210]
          : [shade, shade + 25, shade - 10];
    colours.set(colour, 3 * i);
    depth[i] = what[i] === 'ground' ? Number.NaN : what[i] === 'head' ? 0 : -1;
  }
  return { depth, noDetail: Uint8Array.from(depth, (value) => (Number.isNaN(value) ? 1 : 0)), colours, what };
}

it('takes the ground away that has the depth of the hair beside it, on either side, and leaves hair and head', () => {
  const { depth, noDetail, colours, what } = scene();
  growGround(depth, noDetail, colours, size, 1);
  const left = { head: 0, hair: 0, flap: 0, ground: 0 };
  const all = { ...left };
  for (const [i, name] of what.entries()) {
    all[name]++;
    if (!Number.isNaN(depth[i])) left[name]++;
  }
  expect(left).toEqual({ ...all, flap: 0, ground: 0 });
});

it('takes nothing where subject and ground look alike', () => {
  const { depth, noDetail, colours } = scene();
  colours.fill(90);
  const before = depth.slice();
  expect(growGround(depth, noDetail, colours, size, 1)).toBe(0);
  expect(depth).toEqual(before);
});

it('takes nothing where there is no ground', () => {
  const { depth, noDetail, colours } = scene();
  expect(growGround(depth.fill(0), noDetail.fill(0), colours, size, 1)).toBe(0);
});

it('takes nothing from what is out of reach, nor from a smooth spot of the subject, though it looks the same', () => {
  for (const isBlank of [() => 0, (x: number, y: number) => (Math.hypot(x - 80, y - 10) < 6 ? 1 : 0)]) {
    const { depth, noDetail, colours } = scene();
    for (let i = 0; i < depth.length; i++) {
      noDetail[i] = isBlank(i % size.width, Math.floor(i / size.width));
      // The last columns are out of reach.
      depth[i] = noDetail[i] || i % size.width > 110 ? Number.NaN : 0;
    }
    expect(growGround(depth, noDetail, colours, size, 1)).toBe(0);
  }
});

import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { lightOfSrgb } from '../../src/image/srgb.js';
import { linearCurve, srgbCurve, type TransferCurve } from '../../src/image/transfer-curve.js';
import { profileCurve } from '../../src/stack/profile-curve.js';

const lightAt = ([c1, c2, c3]: TransferCurve, v: number) => v * (c1 + v * (c2 + v * c3));

/** A profile with one tag. */
function profileOf(signature: string, tag: Buffer): Buffer {
  const icc = Buffer.alloc(144);
  icc.writeUInt32BE(1, 128);
  icc.write(signature, 132, 'latin1');
  icc.writeUInt32BE(144, 136);
  icc.writeUInt32BE(tag.length, 140);
  return Buffer.concat([icc, tag]);
}

function curvTag(values: readonly number[]): Buffer {
  const tag = Buffer.alloc(12 + 2 * values.length);
  tag.write('curv', 0, 'latin1');
  tag.writeUInt32BE(values.length, 8);
  for (const [i, value] of values.entries()) tag.writeUInt16BE(value, 12 + 2 * i);
  return tag;
}

describe('the transfer curve of a profile', () => {
  it('comes near to sRGB, in samples, and so does that of the profile that libvips writes', async () => {
    const written = await sharp({ create: { width: 1, height: 1, channels: 3, background: '#888' } })
      .withIccProfile('srgb')
      .jpeg()
      .toBuffer();
    const { icc } = await sharp(written).metadata();
    for (const curve of [srgbCurve, profileCurve(icc)]) {
      for (let v = 0.02; v < 1; v += 0.02) {
        const slope = (lightOfSrgb(v + 0.001) - lightOfSrgb(v - 0.001)) / 0.002;
        expect(Math.abs(lightAt(curve, v) - lightOfSrgb(v)) / slope).toBeLessThan(2.5 / 255);
      }
      expect(lightAt(curve, 1)).toBeCloseTo(1, 9);
    }
  });

  it('is that of a power, a table or no change at all', () => {
    const power = profileCurve(profileOf('gTRC', curvTag([1.8 * 256])));
    const table = Array.from({ length: 256 }, (_, i) => 65535 * (i / 255) ** 1.8);
    const tabulated = profileCurve(profileOf('kTRC', curvTag(table)));
    for (const v of [0.2, 0.5, 0.8]) {
      expect(lightAt(power, v)).toBeCloseTo(v ** 1.8, 2);
      expect(lightAt(tabulated, v)).toBeCloseTo(v ** 1.8, 2);
    }
    const none = profileCurve(profileOf('gTRC', curvTag([])));
    for (const [i, value] of none.entries()) expect(value).toBeCloseTo(linearCurve[i], 6);
  });

  it('is sRGB without a profile and for a damaged one', () => {
    expect(profileCurve(undefined)).toEqual(srgbCurve);
    expect(profileCurve(Buffer.alloc(40))).toEqual(srgbCurve);
    expect(profileCurve(profileOf('gTRC', curvTag([1, 2, 3]).subarray(0, 13)))).toEqual(srgbCurve);
    expect(profileCurve(profileOf('gTRC', Buffer.from('junkjunkjunk')))).toEqual(srgbCurve);
  });
});

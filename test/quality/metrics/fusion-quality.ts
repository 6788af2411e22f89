/** Strength and angle of the edges of a luma plane, shapes (rows, cols). */
export interface EdgeField {
  /** Sobel magnitude, not below 1e-5. */
  strength: Float32Array;
  /** atan(gy / gx), -pi/2 to pi/2. */
  angle: Float32Array;
}

/** Sobel edges of a luma plane by correlation, zeros outside the picture. */
export function edgeField(luma: Float32Array, width: number, height: number): EdgeField {
  const strength = new Float32Array(luma.length);
  const angle = new Float32Array(luma.length);
  const zeros = new Float32Array(width + 2);
  const padded = (y: number) => {
    if (y < 0 || y >= height) return zeros;
    const row = new Float32Array(width + 2);
    row.set(luma.subarray(y * width, (y + 1) * width), 1);
    return row;
  };
  let up = padded(-1);
  let mid = padded(0);
  for (let y = 0, i = 0; y < height; y++) {
    const down = padded(y + 1);
    for (let x = 0; x < width; x++, i++) {
      const gx = up[x + 2] - up[x] + 2 * (mid[x + 2] - mid[x]) + down[x + 2] - down[x];
      const gy = down[x] - up[x] + 2 * (down[x + 1] - up[x + 1]) + down[x + 2] - up[x + 2];
      strength[i] = Math.max(Math.sqrt(gx * gx + gy * gy), 1e-5);
      angle[i] = gx === 0 ? Math.PI / 2 : Math.atan(gy / gx);
    }
    up = mid;
    mid = down;
  }
  return { strength, angle };
}

/**
 * Q_AB/F, the share of the sources' edges that a merged picture keeps, 0 to about 0.975
 * (Xydeas & Petrović 2000, Electronics Letters 36(4):308-309), for any number of sources given one by one.
 * It knows no truth: it rewards noise that is carried over and does not see halos where no source has edges.
 */
export class FusionQuality {
  private readonly merged: EdgeField;
  private kept = 0;
  private weight = 0;

  /** `mergedLuma` has shape (rows, cols); pixels where `mask` is 0 do not count. */
  constructor(
    mergedLuma: Float32Array,
    private readonly mask: Uint8Array,
    width: number,
    height: number,
  ) {
    this.merged = edgeField(mergedLuma, width, height);
  }

  addSource({ strength, angle }: EdgeField): void {
    const { merged, mask } = this;
    for (let i = 0; i < mask.length; i++) {
      if (mask[i] === 0) continue;
      const own = strength[i];
      const other = merged.strength[i];
      const ratio = own > other ? other / own : own / other;
      const alignment = 1 - Math.abs(angle[i] - merged.angle[i]) / (Math.PI / 2);
      this.kept += own * edgePreservation(ratio, alignment);
      this.weight += own;
    }
  }

  value(): number {
    return this.kept / this.weight;
  }
}

/** The paper's two sigmoids: strength with kappa -15, sigma 0.5; orientation with kappa -22, sigma 0.8. */
export function edgePreservation(ratio: number, alignment: number): number {
  return (0.9994 / (1 + Math.exp(-15 * (ratio - 0.5)))) * (0.9879 / (1 + Math.exp(-22 * (alignment - 0.8))));
}

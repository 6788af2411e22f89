/** A stream of repeatable random numbers; equal seeds and names give equal streams on every machine. */
export interface Random {
  /** Uniform integer in [0, 2^32). */
  bits(): number;
  /** Uniform in [0, 1). */
  unit(): number;
  /** Uniform in [low, high). */
  between(low: number, high: number): number;
  /** Normal deviate with mean 0 and standard deviation 1. */
  normal(): number;
}

/** Mixes a 32-bit integer so that every input bit reaches every output bit (two multiply-xorshift rounds). */
export function mixBits(value: number): number {
  let h = value | 0;
  h = Math.imul(h ^ (h >>> 16), 0x7feb352d);
  h = Math.imul(h ^ (h >>> 15), 0x846ca68b);
  return (h ^ (h >>> 16)) >>> 0;
}

/**
 * The stream of a seed and a name. A name of its own for each use keeps uses apart:
 * one draw more in the noise leaves the jitter as it was.
 */
export function createRandom(seed: number, name: string): Random {
  let state = mixBits(seed ^ 0x9e3779b9);
  for (let i = 0; i < name.length; i++) state = mixBits(state ^ name.charCodeAt(i));
  const bits = (): number => {
    state = (state + 0x9e3779b9) | 0;
    return mixBits(state);
  };
  const unit = (): number => bits() / 4294967296;
  return {
    bits,
    unit,
    between: (low, high) => low + (high - low) * unit(),
    normal: () => Math.sqrt(-2 * Math.log(1 - unit())) * Math.cos(2 * Math.PI * unit()),
  };
}

/** A number with `digits` significant digits, never in powers of ten, without trailing zeros. */
export function significant(value: number, digits = 3): string {
  if (value === 0 || !Number.isFinite(value)) return String(value);
  const decimals = Math.min(20, Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value)))));
  const text = value.toFixed(decimals);
  return text.includes('.') ? text.replace(/\.?0+$/, '') : text;
}

/** A short length: mm, with µm beside it where mm have leading zeros. */
export function lengthText(mm: number): string {
  const text = `${significant(mm)} mm`;
  return Math.abs(mm) < 0.1 && mm !== 0 ? `${text} (${significant(mm * 1000)} µm)` : text;
}

/** A distance of a landscape. */
export function distanceText(metres: number | null): string {
  return metres === null || metres === Infinity ? 'infinity' : `${significant(metres)} m`;
}

/** An f-number. */
export function fNumberText(fNumber: number): string {
  return `f/${significant(fNumber, fNumber < 10 ? 2 : 3)}`;
}

/** A duration of work. */
export function timeText(seconds: number): string {
  if (seconds < 60) return `${significant(seconds)} s`;
  const minutes = Math.round(seconds / 60);
  return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

/** A size on disk. */
export function bytesText(bytes: number): string {
  return bytes < 1e9 ? `${significant(bytes / 1e6)} MB` : `${significant(bytes / 1e9)} GB`;
}

/** "1 frame", "3 frames". */
export function framesText(count: number): string {
  return `${count} frame${count === 1 ? '' : 's'}`;
}

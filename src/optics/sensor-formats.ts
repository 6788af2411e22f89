/** A sensor size with a common name. */
export interface SensorFormat {
  name: string;
  /** Other names for the same. */
  aliases: readonly string[];
  widthMm: number;
  heightMm: number;
  /** The conventional circle of confusion, for prints at normal viewing distance. */
  circleMm: number;
}

/**
 * Formats with the circles that published tables of depth of field use (several teaching pages agree within 0.001 mm;
 * about diagonal / 1500). Formats without such a table get diagonal / 1500.
 */
export const sensorFormats: readonly SensorFormat[] = [
  format('medium-44x33', ['44x33', 'medium-format'], 43.8, 32.9, 0.037),
  format('full-frame', ['35mm', 'fullframe', 'ff', 'fx'], 36, 24, 0.03),
  format('aps-c', ['apsc', 'dx'], 23.5, 15.6, 0.02),
  format('aps-c-22', ['apsc-22'], 22.3, 14.9, 0.018),
  format('four-thirds', ['micro-four-thirds', 'mft', '4/3'], 17.3, 13, 0.015),
  format('one-inch', ['1-inch', '1in'], 13.2, 8.8, 0.011),
  format('two-thirds-inch', ['2/3-inch', '2/3'], 8.8, 6.6, conventionalCircleMm(8.8, 6.6)),
  format('1/2.3-inch', ['1/2.3'], 6.17, 4.55, conventionalCircleMm(6.17, 4.55)),
];

/** The format of a name or alias, in any case; undefined for none. */
export function findSensorFormat(name: string): SensorFormat | undefined {
  const wanted = name.toLowerCase().replace(/[\s_]+/g, '-');
  return sensorFormats.find((entry) => entry.name === wanted || entry.aliases.includes(wanted));
}

/** Circle of confusion of a sensor without a table: diagonal / 1500 (one of the two customs; the other is / 1730; common practice). */
export function conventionalCircleMm(widthMm: number, heightMm: number): number {
  return Math.hypot(widthMm, heightMm) / 1500;
}

function format(
  name: string,
  aliases: readonly string[],
  widthMm: number,
  heightMm: number,
  circleMm: number,
): SensorFormat {
  return { name, aliases, widthMm, heightMm, circleMm };
}

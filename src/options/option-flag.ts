/** Units at the end of fields, which flags do not carry. */
const unitEnding = /(Mm|Um|Nm|Mb|Px|Percent|Stops|S|M)$/;

/** The flag of an option by its field: `--step` for `stepMm`. */
export function optionFlag(field: string, { flag }: { flag?: string } = {}): string {
  return `--${flag ?? kebab(field.replace(unitEnding, ''))}`;
}

function kebab(field: string): string {
  return field.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
}

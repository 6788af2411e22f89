/** What values an option takes: how they are worded, checked and read from a command line. */
export interface OptionKind<Value = unknown> {
  /** The values in words, as a refusal names them: 'a number from 0.1 to 100 µm'. */
  range: string;
  isValid: (value: unknown) => value is Value;
  /** The value that a text of the command line stands for; undefined for none. Absent for a switch, which takes no text. */
  read?: (text: string) => unknown;
  /** What a value of a file of options stands for that holds texts within; undefined for none. */
  readValue?: (value: unknown) => unknown;
  /** A refused value in words, where its plain form says too much or too little. */
  show?: (value: unknown) => string;
  /** Of a quantity; a command line may give another of the same kind. */
  unit?: string;
  /** What stands for the value in help, such as 'MM'. */
  valueName?: string;
  /** Whether help states the range; for numbers, whose value names say nothing of it. */
  isRangeInHelp?: boolean;
  /** Whether a command line may give it several times; the value is a list then. */
  isRepeatable?: boolean;
  /** Default of every option of the kind that names no other. */
  unset?: Value;
}

/** An option, declared once: validation, flags, help and the tables of the guide follow from it. */
export interface OptionSpec<Value = unknown> {
  kind: OptionKind<Value>;
  /** Name on the command line without the dashes, where it is not that of the field; see `optionFlag`. */
  flag?: string;
  /** What stands for the value in help, where the kind's own name says too little. */
  valueName?: string;
  /** Heading in the help. */
  group?: string;
  help: string;
  /** Why values outside of the range cannot be; ends the message that refuses one. */
  reason?: string;
  /** Whether a command line must give it. */
  isRequired?: boolean;
  /** Value when none is given; absent when the option then stays unset, or takes that of its kind. */
  default?: Value | (() => Value);
  /** The default in words, where it is not the value itself. */
  defaultText?: string;
}

/**
 * Options by their fields, in the order of the help; `More` is what a table holds of each beside. The compiler refuses a
 * table that lacks an option.
 */
export type OptionTable<Options, More = unknown> = {
  readonly [Field in keyof Options & string]-?: OptionSpec<Exclude<Options[Field], undefined>> & More;
};

/** Options as callers give them: any may be absent or undefined. */
export type Given<Options> = { [Field in keyof Options]?: Options[Field] | undefined };

/** The entries of a table. */
export function optionSpecs(table: object): [field: string, spec: OptionSpec][] {
  return Object.entries(table);
}

const asField = (option: string): string => option;

/** How texts of this process call an option that is known by its field. */
let nameOf = asField;

/**
 * An option in a text for people: by its field, such as `stepMm`, as programs know it, unless the process said
 * otherwise. For the texts of errors there is `named`, which leaves the name to whoever tells the error.
 */
export function optionName(option: string): string {
  return nameOf(option);
}

/**
 * From now on options are called otherwise in this process: the command line gives flags, such as `--step`.
 *
 * @returns Calls them as before.
 */
export function callOptions(by: (option: string) => string): () => void {
  const before = nameOf;
  nameOf = by;
  return () => {
    nameOf = before;
  };
}

/** Whether options are called by their fields in this process. */
export function optionsAreFields(): boolean {
  return nameOf === asField;
}

import type { Size } from '../image/image.js';

/** A wrong field of a parsed document, with what it should hold. */
export interface ShapeFault {
  /** e.g. `frames[3].gainRatio`. */
  field: string;
  expected: string;
  received: unknown;
}

/** Checks that a parsed JSON value is a T; returns the first fault, or undefined. */
export type Shape<T> = ((value: unknown, field: string) => ShapeFault | undefined) & {
  /** Carries the type for the compiler; never set. */
  readonly of?: T;
};

function shape<T>(expected: string, holds: (value: unknown) => boolean): Shape<T> {
  return (value, field) => (holds(value) ? undefined : { field, expected, received: value });
}

/** A number within [min, max]; JSON holds neither NaN nor infinity. */
export function numberShape(min = -Number.MAX_VALUE, max = Number.MAX_VALUE): Shape<number> {
  const range =
    min === -Number.MAX_VALUE
      ? ''
      : max === Number.MAX_VALUE
        ? ` of at least ${min}`
        : ` from ${min} to ${max}`;
  return shape(`a number${range}`, (value) => typeof value === 'number' && value >= min && value <= max);
}

export function wholeShape(min: number, max = Number.MAX_SAFE_INTEGER): Shape<number> {
  const range = max === Number.MAX_SAFE_INTEGER ? `of at least ${min}` : `from ${min} to ${max}`;
  return shape(`a whole number ${range}`, (value) => {
    return Number.isSafeInteger(value) && (value as number) >= min && (value as number) <= max;
  });
}

export function textShape(pattern?: RegExp, range = 'text'): Shape<string> {
  return shape(range, (value) => typeof value === 'string' && (pattern === undefined || pattern.test(value)));
}

export const booleanShape: Shape<boolean> = shape('true or false', (value) => typeof value === 'boolean');

export function oneOfShape<const T extends string | number>(...values: T[]): Shape<T> {
  return shape(values.map((value) => JSON.stringify(value)).join(' or '), (value) =>
    values.includes(value as T),
  );
}

export function nullableShape<T>(inner: Shape<T>): Shape<T | null> {
  return (value, field) => (value === null ? undefined : inner(value, field));
}

export function optionalShape<T>(inner: Shape<T>): Shape<T | undefined> {
  return (value, field) => (value === undefined ? undefined : inner(value, field));
}

/** A list, of exactly `length` items when given. */
export function listShape<T>(item: Shape<T>, length?: number): Shape<T[]> {
  return (value, field) => {
    if (!Array.isArray(value) || (length !== undefined && value.length !== length)) {
      return { field, expected: length === undefined ? 'a list' : `a list of ${length}`, received: value };
    }
    for (let i = 0; i < value.length; i++) {
      const fault = item(value[i], `${field}[${i}]`);
      if (fault) return fault;
    }
    return undefined;
  };
}

/** An object with a value of one shape under every name. */
export function mapShape<T>(item: Shape<T>): Shape<Record<string, T>> {
  return (value, field) => {
    if (!isPlainObject(value)) return { field, expected: 'an object', received: value };
    for (const [name, inner] of Object.entries(value)) {
      const fault = item(inner, `${field}.${name}`);
      if (fault) return fault;
    }
    return undefined;
  };
}

/** An object with these fields. Fields beyond them are allowed: a later program of the same version may add some. */
export function objectShape<T extends object>(fields: { [K in keyof T]-?: Shape<T[K]> }): Shape<T> {
  return (value, field) => {
    if (!isPlainObject(value)) return { field, expected: 'an object', received: value };
    for (const [name, check] of Object.entries<Shape<unknown>>(fields)) {
      const fault = check(value[name], field === '' ? name : `${field}.${name}`);
      if (fault) return fault;
    }
    return undefined;
  };
}

/** Any object: for parts that are checked where they are used. */
export function anyObjectShape<T extends object>(): Shape<T> {
  return shape('an object', isPlainObject);
}

function isPlainObject(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** A file of the result: a bare name, so that a record from elsewhere cannot point out of its folder. */
export const resultFileShape = textShape(/^[A-Za-z0-9][A-Za-z0-9._-]*$/, 'the bare name of a file');

export const sha256Shape = textShape(/^[0-9a-f]{64}$/, '64 hex digits');

export const timeShape = textShape(/^\d{4}-\d\d-\d\dT\d\d:\d\d/, 'a date and time in ISO 8601');

/** Width and height in pixels, each of at least `min`. */
export function sizeShape(min: number): Shape<Size> {
  return objectShape<Size>({ width: wholeShape(min), height: wholeShape(min) });
}

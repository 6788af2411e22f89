import { InputError } from '../errors.js';
import type { Shape } from '../result/shape.js';
import type { HttpError } from '../view/guard.js';
import type { Answer, StreamAnswer } from '../view/local-server.js';
import type { Desk } from './desk.js';

/** A request to a route. */
export interface Asked {
  query: URLSearchParams;
  /** Of a POST: the parsed JSON, of any shape. */
  body: unknown;
  /** Aborted when nobody waits for the answer any more. */
  gone: AbortSignal;
}

/** Answers a request. A LamellaError that is thrown reaches the page as its message (status 409). */
export type DeskRoute = (desk: Desk, asked: Asked) => Promise<Answer | StreamAnswer | HttpError>;

/** Routes of one screen by method and path, which are compared as a whole. */
export type DeskRoutes = Readonly<Record<`${'GET' | 'POST'} /${string}`, DeskRoute>>;

/** A value of the query that must be there. */
export function required(query: URLSearchParams, name: string): string {
  const value = query.get(name);
  if (value === null || value === '') throw new InputError(`Expected a value for ${name} but received none.`);
  return value;
}

/** The body, once it has the shape that is asked for. */
export function shaped<T>(body: unknown, shape: Shape<T>): T {
  const fault = shape(body, '');
  if (fault) throw new InputError(`Expected ${fault.expected} for ${fault.field || 'the body'}.`);
  return body as T;
}

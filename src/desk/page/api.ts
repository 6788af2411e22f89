import type { Refusal } from '../protocol.js';
import { goneMessage } from './notice.js';

/** What the server refuses, with a message for the user. */
export class RefusedError extends Error {}

/** What a route answers to a GET; rejects with RefusedError. */
export function ask<T>(path: string, query: Record<string, string> = {}, signal?: AbortSignal): Promise<T> {
  return request<T>(addressOf(path, query), signal ? { signal } : {});
}

/** What a route answers to a POST of JSON; rejects with RefusedError. */
export function send<T>(path: string, body: unknown, signal?: AbortSignal): Promise<T> {
  const headers = { 'Content-Type': 'application/json' };
  return request<T>(path, { method: 'POST', headers, body: JSON.stringify(body), ...(signal && { signal }) });
}

/** The address of something with a query, such as a thumbnail. */
export function addressOf(path: string, query: Record<string, string>): string {
  const text = new URLSearchParams(query).toString();
  return text === '' ? path : `${path}?${text}`;
}

async function request<T>(address: string, init: RequestInit): Promise<T> {
  let response: Response;
  try {
    response = await fetch(address, init);
  } catch (error) {
    if (init.signal?.aborted) throw error;
    throw new RefusedError(goneMessage);
  }
  if (response.ok) return (await response.json()) as T;
  const body = await response.text();
  let message = body;
  try {
    message = (JSON.parse(body) as Refusal).message;
  } catch {
    // A plain text stands for itself.
  }
  throw new RefusedError(message);
}
